// Package record holds what people decided about findings and makes the
// worklist, as values: nothing here reads or writes a file.
//
// A Decision is one line of the ledger: done, or set aside. Apply puts
// decisions on findings; ID and Keep give findings their names and keep them
// over a re-derivation; Carry keeps what was acted on when the data no longer
// supports it. Assemble makes the worklist, Groups parts it by when to act, and
// RenderWorklist and RenderFinding write text for a terminal: sentences, and
// evidence as dots with intervals over the peers' band.
package record
