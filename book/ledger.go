package book

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"github.com/ncruces/go-sqlite3"
	_ "github.com/ncruces/go-sqlite3/driver" // registers the driver "sqlite3"
)

//go:embed migrations/*.sql
var migrations embed.FS

// ledgerVersion is the newest migration.
const ledgerVersion = 6

// ledgerMark stands in the file's header as application_id ("even" in ASCII),
// so that another program's database is not taken for a ledger.
const ledgerMark = 0x6576656e

// openLedger opens ledger.db and brings it to the present version. make says
// that it may be new.
func openLedger(ctx context.Context, path string, create bool) (*sql.DB, error) {
	if !create {
		if _, err := os.Stat(path); err != nil {
			return nil, &Error{path, fmt.Errorf("%w: the ledger is missing", ErrCorrupt), "Take ledger.db from a copy of the logbook; it holds what people decided and cannot be made again"}
		}
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	slashed := filepath.ToSlash(abs)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // a drive letter
	}
	// Pragmas belong to a connection, so they stand in the name.
	u := url.URL{Scheme: "file", OmitHost: true, Path: slashed, RawQuery: "_pragma=busy_timeout(10000)&_pragma=journal_mode(wal)&_pragma=synchronous(full)&_pragma=foreign_keys(on)"}
	db, err := sql.Open("sqlite3", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	if err := migrate(ctx, db, create); err != nil {
		db.Close()
		return nil, ledgerError(path, err)
	}
	return db, nil
}

func ledgerError(path string, err error) error {
	var known *Error
	if err == nil || errors.As(err, &known) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	switch {
	case errors.Is(err, sqlite3.INTERRUPT): // the library's word for a context that ended
		return fmt.Errorf("%w: %w", context.Canceled, err)
	case errors.Is(err, ErrNewer):
		return &Error{path, err, "Open it with that version of the program or a later one"}
	case errors.Is(err, sqlite3.NOTADB), errors.Is(err, sqlite3.CORRUPT), errors.Is(err, ErrCorrupt):
		return &Error{path, fmt.Errorf("%w: %w", ErrCorrupt, err), "Take ledger.db from a copy of the logbook; the originals are not affected"}
	case errors.Is(err, sqlite3.FULL):
		return &Error{path, err, "The disk is full. What was stored before is unharmed; make room and try again"}
	case errors.Is(err, sqlite3.BUSY):
		return &Error{path, fmt.Errorf("%w: %w", ErrInUse, err), "Close the other program that has the ledger open"}
	}
	return &Error{path, err, "What was stored before is unharmed"}
}

func migrate(ctx context.Context, db *sql.DB, create bool) error {
	var version, mark int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&mark); err != nil {
		return err
	}
	if !create && mark != ledgerMark {
		return fmt.Errorf("%w: it is not a ledger of this program", ErrCorrupt)
	}
	if version > ledgerVersion {
		return fmt.Errorf("%w (ledger version %d, this program knows %d)", ErrNewer, version, ledgerVersion)
	}
	for v := version + 1; v <= ledgerVersion; v++ {
		text, err := migrations.ReadFile(fmt.Sprintf("migrations/%04d.sql", v))
		if err != nil {
			return err
		}
		if err := inTx(ctx, db, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, string(text)); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d; PRAGMA application_id = %d", v, ledgerMark))
			return err
		}); err != nil {
			return fmt.Errorf("migration %d: %w", v, err)
		}
	}
	return nil
}

// inTx runs f in one transaction.
func inTx(ctx context.Context, db *sql.DB, f func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		tx.Rollback()
		return err
	}
	return tx.Commit()
}
