package journal

import (
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	sqlite3 "modernc.org/sqlite/lib"
)

// suffixes are the files that belong together: the file, its log and the log's index.
var suffixes = []string{"", "-wal", "-shm"}

// aside renames a damaged or foreign file and what belongs to it. Nothing is ever deleted.
func aside(path string, now time.Time) (string, error) {
	mark := ".damaged-" + now.UTC().Format("20060102T150405.000000000Z")
	moved := ""
	for _, suffix := range suffixes {
		from, to := path+suffix, path+mark+suffix
		err := os.Rename(from, to)
		switch {
		case err == nil && moved == "":
			moved = to
		case err != nil && !errors.Is(err, os.ErrNotExist):
			return "", fmt.Errorf("cannot move the damaged journal aside: %w", err)
		}
	}
	return moved, nil
}

// newEpoch is a random name: two journals never share one, whatever happened to clocks and files.
func newEpoch() (string, error) {
	var b [8]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "", fmt.Errorf("cannot make an epoch: %w", err)
	}
	return hex.EncodeToString(b[:]), nil
}

// hold takes the folder for this process alone. The lock is an exclusive transaction on a file of its own: the operating
// system gives it back however the process ends, on every system alike.
func hold(folder string) (*sql.DB, error) {
	path := filepath.Join(folder, "journal.lock")
	db, err := sql.Open("sqlite", dsn(path, []string{"busy_timeout(0)", "locking_mode(EXCLUSIVE)", "journal_mode(MEMORY)"}))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("BEGIN EXCLUSIVE"); err != nil {
		_ = db.Close()
		if code(err) != sqlite3.SQLITE_BUSY {
			return nil, fmt.Errorf("cannot lock the journal in %s: %w", folder, err)
		}
		return nil, fmt.Errorf("another process holds the journal in %s: stop it first, or set another journal.folder (%w)", folder, err)
	}
	return db, nil
}
