package book

import (
	"context"
	"fmt"
	"path/filepath"
)

// LimitDisk makes the book's disk full after n more bytes; a negative n takes
// the limit away.
func (b *Book) LimitDisk(n int64) {
	b.disk.left.Store(n)
	b.disk.limited.Store(n >= 0)
}

// SetLedgerVersion writes another version into a closed book's ledger.
func SetLedgerVersion(dir string, v int) error {
	db, err := openLedger(context.Background(), filepath.Join(dir, ledgerName), false)
	if err != nil {
		return err
	}
	if _, err := db.Exec(fmt.Sprintf("PRAGMA user_version = %d", v)); err != nil {
		return err
	}
	return db.Close()
}

// The readers of what people write, for their own tests.
var (
	ParseFields    = parseFields
	ParseSettings  = parseSettings
	FormatSettings = formatSettings
	HashBytes      = hashBytes
)
