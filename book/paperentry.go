package book

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"evenstand"
	"evenstand/core/paper"
)

// PaperEntries gives all that people wrote down for application records, in the
// order of writing.
func (b *Book) PaperEntries(ctx context.Context) ([]paper.Entry, error) {
	rows, err := b.db.QueryContext(ctx, "SELECT id, at, scope, of, from_day, element, value, who FROM paper ORDER BY id")
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	defer rows.Close()
	var out []paper.Entry
	for rows.Next() {
		var e paper.Entry
		if err := rows.Scan(&e.ID, &e.At, &e.Scope, &e.Of, &e.From, &e.Element, &e.Value, &e.Who); err != nil {
			return nil, ledgerError(b.path(ledgerName), err)
		}
		out = append(out, e)
	}
	return out, ledgerError(b.path(ledgerName), rows.Err())
}

// PaperWrite is what somebody writes down for records.
type PaperWrite struct {
	Record  string            `json:"record,omitempty" maxLength:"40" doc:"Its id; new:2026-05-02 makes one that no log tells of"`
	Product string            `json:"product,omitempty" maxLength:"200" doc:"Instead: for all records of a product"`
	All     bool              `json:"all,omitempty" doc:"Instead: for all records"`
	From    evenstand.Day     `json:"from,omitempty" maxLength:"10" doc:"Of a product and of all: the first day that it holds for; empty: the first of the last season"`
	Values  map[string]string `json:"values" doc:"By element; an empty one is taken back"`
	Who     string            `json:"who" maxLength:"200" doc:"Who writes it"`
}

// WritePaper writes values down beside those that stand, which stay in the ledger.
// It gives the record's id and how many values were new.
func (b *Book) WritePaper(ctx context.Context, w PaperWrite) (record string, n int, err error) {
	bad := func(do, format string, a ...any) (string, int, error) {
		return "", 0, &Error{"", fmt.Errorf(format, a...), do}
	}
	w.Who = strings.Join(strings.Fields(w.Who), " ")
	if w.Who == "" {
		return bad("A record says who wrote what", "who writes it?")
	}
	e := paper.Entry{Scope: paper.OfRecord, Of: w.Record, Who: w.Who}
	said := 0
	for _, x := range []bool{w.Record != "", w.Product != "", w.All} {
		if x {
			said++
		}
	}
	switch {
	case said != 1:
		return bad("Say one of the three", "is it for one record, for a product, or for all of them?")
	case w.Product != "":
		e.Scope, e.Of = paper.OfProduct, strings.TrimSpace(w.Product)
	case w.All:
		e.Scope = paper.OfAll
	}
	if e.Scope == paper.OfRecord {
		w.From = ""
	} else if w.From == "" {
		days, err := b.Days(ctx)
		if err != nil {
			return "", 0, err
		}
		if all := seasonsOf(days); len(all) > 0 {
			w.From = evenstand.Day(all[0] + "-01-01")
		} else {
			w.From = evenstand.Day(evenstand.DayOf(evenstand.Micros(b.now()), b.Zone()).Year() + "-01-01")
		}
	}
	if w.From != "" {
		if _, err := w.From.Start(b.Zone()); err != nil {
			return bad("Write it as 2026-05-02", "%q is no day", w.From)
		}
	}
	e.From = w.From
	rules, err := b.PaperRules()
	if err != nil {
		return "", 0, err
	}
	if len(w.Values) == 0 {
		return bad("Say it as wind=\"8 mph SW\"", "nothing was said")
	}
	values := map[string]string{}
	for _, id := range sortedKeys(w.Values) {
		v := strings.Join(strings.Fields(w.Values[id]), " ")
		name := rules.Name(id)
		switch {
		case name == nil:
			var have []string
			for _, n := range rules.Names {
				have = append(have, n.ID)
			}
			return bad("There are "+strings.Join(have, ", "), "%w: there is no element %q", ErrUnknown, id)
		case len(v) > 500 || strings.ContainsFunc(v, unicode.IsControl) || !utf8Valid(v):
			return bad("Write up to 500 characters of plain text", "the %s cannot be kept", strings.ToLower(name.Label))
		case id == "kind" && v != "" && v != paper.Fertilizer && v != paper.Pesticide && v != paper.Restricted:
			return bad("Write fertilizer, pesticide or restricted-use pesticide", "%q is no kind of product that this knows", v)
		case id == "applicator_kind" && v != "" && v != "private" && v != "commercial":
			return bad("Write private or commercial", "%q is no kind of applicator", v)
		}
		values[id] = v
	}
	b.hand.Lock()
	defer b.hand.Unlock()
	all, err := b.PaperEntries(ctx)
	if err != nil {
		return "", 0, err
	}
	if e.Scope == paper.OfRecord {
		if day, ok := strings.CutPrefix(w.Record, "new:"); ok {
			if _, err := evenstand.Day(day).Start(b.Zone()); err != nil {
				return bad("Write it as new:2026-05-02", "%q is no day", day)
			}
			for k := 1; ; k++ {
				e.Of = fmt.Sprintf("%s-h%d", day, k)
				if !slices.ContainsFunc(all, func(x paper.Entry) bool { return x.Scope == paper.OfRecord && x.Of == e.Of }) {
					break
				}
			}
		} else {
			known, err := b.knowsRecord(ctx, w.Record, all)
			if err != nil {
				return "", 0, err
			}
			if !known {
				return bad("evenstand paper BOOK lists them; new:2026-05-02 makes one by hand", "%w: there is no record %q", ErrUnknown, w.Record)
			}
		}
	}
	now := b.now()
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		for _, id := range sortedKeys(values) {
			last := ""
			for _, x := range all {
				if x.Scope == e.Scope && strings.EqualFold(x.Of, e.Of) && x.From == e.From && x.Element == id {
					last = x.Value
				}
			}
			if last == values[id] { // it says that already
				continue
			}
			n++
			if _, err := tx.ExecContext(ctx, "INSERT INTO paper (at, scope, of, from_day, element, value, who) VALUES (?, ?, ?, ?, ?, ?, ?)", now, string(e.Scope), e.Of, string(e.From), id, values[id], e.Who); err != nil {
				return err
			}
		}
		return nil
	})
	if e.Scope != paper.OfRecord {
		return "", n, ledgerError(b.path(ledgerName), err)
	}
	return e.Of, n, ledgerError(b.path(ledgerName), err)
}

func utf8Valid(s string) bool { return strings.ToValidUTF8(s, "") == s }

// knowsRecord tells whether a log or somebody's hand made a record.
func (b *Book) knowsRecord(ctx context.Context, id string, all []paper.Entry) (bool, error) {
	if slices.ContainsFunc(all, func(x paper.Entry) bool { return x.Scope == paper.OfRecord && x.Of == id }) {
		return true, nil
	}
	if !paper.IsRecordID(id) {
		return false, nil
	}
	days, err := b.Days(ctx)
	if err != nil {
		return false, err
	}
	day := evenstand.Day(id[:10])
	logged, err := b.applied(ctx, days, day, day, "")
	return slices.ContainsFunc(logged, func(l paper.Logged) bool { return l.ID() == id }), err
}
