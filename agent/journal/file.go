package journal

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

const (
	fileName   = "journal.db"
	schema     = 1          // user_version; a file of a later schema is left alone
	appID      = 0x696f6e77 // application_id: "ionw"
	pageSize   = 4096
	checkAtOne = 32 << 20 // bytes; a larger file is checked in the background
)

const tables = `
CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE word(kind TEXT NOT NULL, id INTEGER NOT NULL, text TEXT NOT NULL, PRIMARY KEY(kind, id)) WITHOUT ROWID;
CREATE TABLE entry(seq INTEGER PRIMARY KEY, at INTEGER NOT NULL, body BLOB NOT NULL);
CREATE INDEX entry_at ON entry(at);
CREATE TABLE event(seq INTEGER NOT NULL, n INTEGER NOT NULL, at INTEGER NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,
	crc INTEGER NOT NULL, PRIMARY KEY(seq, n)) WITHOUT ROWID;
CREATE INDEX event_at ON event(at);
CREATE TABLE checkpoint(one INTEGER PRIMARY KEY CHECK(one = 1), seq INTEGER NOT NULL, at INTEGER NOT NULL, shape TEXT NOT NULL,
	body TEXT NOT NULL, crc INTEGER NOT NULL);
CREATE TABLE feed(name TEXT PRIMARY KEY, epoch TEXT NOT NULL, seq INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE lost(first INTEGER NOT NULL, last INTEGER NOT NULL, count INTEGER NOT NULL, why TEXT NOT NULL, at INTEGER NOT NULL);
`

// pragmas of the writer. FULL syncs the log at every commit, so that what is acknowledged outlives a power cut.
var pragmas = []string{
	"busy_timeout(5000)", "page_size(4096)", "journal_mode(WAL)", "synchronous(FULL)", "cache_size(-8000)",
	"journal_size_limit(4194304)", "foreign_keys(0)",
}

// file is one open journal file.
type file struct {
	path   string
	epoch  string
	writer *sql.DB // one connection
	reader *sql.DB
	words  *words
	insert *sql.Stmt
	event  *sql.Stmt
}

var errForeign = errors.New("it is not a journal of this trailer")

// once switches commits to fdatasync(2), which halves what a commit costs an SD card; where it is not available the
// default fsync is as safe.
var once sync.Once

func dsn(path string, pragmas []string) string {
	slash := filepath.ToSlash(path)
	if !strings.HasPrefix(slash, "/") {
		slash = "/" + slash // a drive letter
	}
	q := url.Values{"_pragma": pragmas, "_txlock": {"immediate"}}
	return (&url.URL{Scheme: "file", Path: slash, RawQuery: q.Encode()}).String()
}

// openFile opens or makes the file. Errors that isDamage knows, and errForeign, mean that it must be moved aside.
func openFile(path string, set *Settings) (*file, error) {
	once.Do(func() { _, _ = sqlite.Fdatasync(true) })
	if err := looksRight(path); err != nil {
		return nil, err
	}
	f := &file{path: path}
	var err error
	if f.writer, err = sql.Open("sqlite", dsn(path, append(pragmas, fmt.Sprintf("max_page_count(%d)", set.Quota/pageSize)))); err != nil {
		return nil, err
	}
	f.writer.SetMaxOpenConns(1)
	if f.reader, err = sql.Open("sqlite", dsn(path, []string{"busy_timeout(5000)", "query_only(1)"})); err != nil {
		return nil, errors.Join(err, f.close())
	}
	if err := f.begin(set); err != nil {
		return nil, errors.Join(err, f.close())
	}
	return f, nil
}

// looksRight tells a file of another program, or a log whose file is gone, before SQLite has touched either.
func looksRight(path string) error {
	const magic = "SQLite format 3\x00"
	head := make([]byte, 100)
	in, err := os.Open(path)
	n := 0
	if err == nil {
		n, _ = io.ReadFull(in, head)
		_ = in.Close()
	} else if !errors.Is(err, os.ErrNotExist) {
		return err
	}
	// File format of SQLite: bytes 18 and 19 are 2 where a log is used, the application id is at 68. A journal killed while
	// it was made has the former but may have the latter in its log only.
	id := binary.BigEndian.Uint32(head[68:])
	if n > 0 && (!strings.HasPrefix(string(head), magic) || (id != appID && (id != 0 || head[18] != 2))) {
		return errForeign
	}
	if wal, err := os.Stat(path + "-wal"); n == 0 && err == nil && wal.Size() > 0 {
		return errDamaged
	}
	return nil
}

// begin reads or writes what a file starts with, in one transaction: a kill in the middle leaves an empty file.
func (f *file) begin(set *Settings) error {
	tx, err := f.writer.Begin()
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	var app, version, objects int
	row := tx.QueryRow("SELECT (SELECT application_id FROM pragma_application_id), (SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)")
	if err := row.Scan(&app, &version, &objects); err != nil {
		return err
	}
	switch {
	case app == 0 && objects == 0:
		err = create(tx, set)
	case app != appID:
		return errForeign
	case version > schema:
		return fmt.Errorf("it was written by a later program (schema %d, this one knows %d): use that program or set another journal.folder", version, schema)
	}
	if err != nil {
		return err
	}
	var trailer string
	if err := tx.QueryRow("SELECT (SELECT value FROM meta WHERE key = 'epoch'), (SELECT value FROM meta WHERE key = 'trailer')").Scan(&f.epoch, &trailer); err != nil {
		return errDamaged
	}
	if trailer != set.Trailer {
		return errForeign
	}
	if f.words, err = learn(tx); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	if f.insert, err = f.writer.Prepare("INSERT INTO entry(seq, at, body) VALUES(?, ?, ?)"); err != nil {
		return err
	}
	f.event, err = f.writer.Prepare("INSERT INTO event(seq, n, at, kind, body, crc) VALUES(?, ?, ?, ?, ?, ?)")
	return err
}

func create(tx *sql.Tx, set *Settings) error {
	epoch, err := newEpoch()
	if err != nil {
		return err
	}
	if _, err := tx.Exec(tables + fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d;", appID, schema)); err != nil {
		return err
	}
	_, err = tx.Exec("INSERT INTO meta(key, value) VALUES('epoch', ?), ('trailer', ?), ('created', ?)",
		epoch, set.Trailer, set.Clock.UTC().Format(time.RFC3339))
	return err
}

// check looks for damage in the whole file.
func (f *file) check(ctx context.Context) error {
	var verdict string
	if err := f.reader.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return err
	}
	if verdict != "ok" {
		return fmt.Errorf("%w: %s", errDamaged, verdict)
	}
	return nil
}

func (f *file) close() error {
	var errs []error
	for _, s := range []*sql.Stmt{f.insert, f.event} {
		if s != nil {
			errs = append(errs, s.Close())
		}
	}
	// The writer goes last: its close folds the log into the file.
	for _, db := range []*sql.DB{f.reader, f.writer} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}

// size is what the file and its log take on the disk, bytes.
func (f *file) size() int64 {
	var sum int64
	for _, suffix := range suffixes {
		if info, err := os.Stat(f.path + suffix); err == nil {
			sum += info.Size()
		}
	}
	return sum
}

// code is SQLite's primary result code of an error, 0 where it is not SQLite's.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// isDamage reports whether an error says that the file itself is broken.
func isDamage(err error) bool {
	c := code(err)
	return c == sqlite3.SQLITE_CORRUPT || c == sqlite3.SQLITE_NOTADB || errors.Is(err, errDamaged)
}

// isFull reports whether there is no room: the quota is used up, or the disk is.
func isFull(err error) bool { return code(err) == sqlite3.SQLITE_FULL }
