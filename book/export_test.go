package book

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenstand/core/verify"
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

// CountsOf gives the lines of the table of counts: journal, what, value.
func CountsOf(t *testing.T, b *Book) (out []string) {
	t.Helper()
	rows, err := b.db.Query("SELECT journal, what, value FROM counts ORDER BY id")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var what string
		var value float64
		if err := rows.Scan(&id, &what, &value); err != nil {
			t.Fatal(err)
		}
		out = append(out, fmt.Sprintf("%d %s %v", id, what, value))
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// FirstLedger puts a ledger of the first version, with one line in the journal,
// in the place of a closed book's.
func FirstLedger(t *testing.T, dir, planter string) {
	t.Helper()
	path := filepath.Join(dir, ledgerName)
	for _, f := range []string{path, path + "-wal", path + "-shm"} {
		os.Remove(f)
	}
	db, err := sql.Open("sqlite3", "file:"+filepath.ToSlash(path))
	if err != nil {
		t.Fatal(err)
	}
	text, err := migrations.ReadFile("migrations/0001.sql")
	if err == nil {
		_, err = db.Exec(string(text))
	}
	if err == nil {
		_, err = db.Exec("INSERT INTO journal (at, planter, t_us, what, rows, value, unit, note) VALUES (1, ?, 2, 'fix', '7', NULL, '', 'old')", planter)
	}
	if err == nil {
		_, err = db.Exec(fmt.Sprintf("PRAGMA user_version = 1; PRAGMA application_id = %d", ledgerMark))
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// Forget lets go of the effects that are kept.
func (b *Book) Forget() {
	b.effects.mu.Lock()
	defer b.effects.mu.Unlock()
	b.effects.by = nil
}

// ThirdLedger puts a ledger of the third version in the place of a closed book's:
// a note of two lines, and one that was taken back.
func ThirdLedger(t *testing.T, dir, planter string) {
	t.Helper()
	path := filepath.Join(dir, ledgerName)
	for _, f := range []string{path, path + "-wal", path + "-shm"} {
		os.Remove(f)
	}
	db, err := sql.Open("sqlite3", "file:"+filepath.ToSlash(path))
	if err != nil {
		t.Fatal(err)
	}
	for v := 1; v <= 3 && err == nil; v++ {
		var text []byte
		if text, err = migrations.ReadFile(fmt.Sprintf("migrations/%04d.sql", v)); err == nil {
			_, err = db.Exec(string(text))
		}
	}
	for _, s := range []string{
		"INSERT INTO journal (id, at, planter, t_us, what, rows, value, unit, note, words, part_of) VALUES (1, 1, 'P', 2, 'dig', '7', 2.1, 'in', '', 'dug row 7: 2.1, 2 in', NULL)",
		"INSERT INTO journal (id, at, planter, t_us, what, rows, value, unit, note, words, part_of) VALUES (2, 1, 'P', 2, 'dig', '7', 2, 'in', '', 'dug row 7: 2.1, 2 in', 1)",
		"INSERT INTO journal (id, at, planter, t_us, what, rows, value, unit, note, words, part_of) VALUES (3, 1, 'P', 3, 'fix', '7', NULL, '', 'seal', 'fixed row 7: seal', NULL)",
		"INSERT INTO taken_back (journal, at) VALUES (3, 4)",
		fmt.Sprintf("PRAGMA user_version = 3; PRAGMA application_id = %d", ledgerMark),
	} {
		if err == nil {
			_, err = db.Exec(strings.ReplaceAll(s, "'P'", "'"+planter+"'"))
		}
	}
	if err == nil {
		err = db.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
}

// CheckTests gives the tests of check-backs that are kept.
func (b *Book) CheckTests() map[string]*verify.Test {
	b.checkMu.Lock()
	defer b.checkMu.Unlock()
	out := map[string]*verify.Test{}
	for k, c := range b.checked {
		out[k] = c.test
	}
	return out
}
