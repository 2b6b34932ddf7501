package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"ionward/agent"
	"ionward/rules"
)

// Journal is the open record of one trailer. One goroutine writes it; everything else may be called from anywhere.
type Journal struct {
	set   Settings
	lock  *sql.DB // held while the journal is open: one process a folder
	queue *queue

	fileMu sync.RWMutex // readers hold it while they read; held whole only to change files
	file   *file        // nil while a new one cannot be made

	mu      sync.Mutex // guards what follows
	changed chan struct{}
	newest  Checkpoint
	restart bool // newest holds a state to go on from
	cursors map[string]*cursor
	health  Health

	suspect chan error    // the background check found damage
	stop    chan struct{} // closed by Close
	once    sync.Once
	done    chan struct{} // closed when the writer has ended
	check   context.CancelFunc
	checked chan struct{} // closed when the background check has ended
	err     error         // of the last flush, valid after done
}

// Checkpoint is where to go on after a restart.
type Checkpoint struct {
	State rules.State // after entry Seq
	At    int64       // UTC of that entry, ns since 1970
	Seq   uint64      // the last entry in the record; 0 = there is none
	Epoch string      // of the file
}

// Health is how the record stands.
type Health struct {
	Path      string
	Epoch     string
	Committed uint64    // seq of the last entry on the disk
	Commits   uint64    // transactions since the start
	At        time.Time // UTC of the last commit; zero = none yet
	Queued    int       // entries that wait in memory
	Dropped   uint64    // entries lost because the disk stalled for too long
	Pruned    uint64    // entries deleted because the quota was reached
	Refused   uint64    // entries that could not be recorded: out of sequence, after Close, or without a name
	Damaged   uint64    // entries whose checksum was wrong when they were read
	Size      int64     // bytes on the disk
	Full      bool      // the quota was reached: the oldest scans make room
	Failing   bool      // the last commit failed; it is tried again
	LastError string    // empty = none; kept after recovery, with the time in front
	Aside     []string  // damaged files that were moved aside since the start
}

// Open opens the record in the folder or begins a new one. A file that is damaged or not a journal of this trailer is
// moved aside and a new one is begun; Health names it. An error means that the record cannot be kept at all: another
// process holds the folder, it cannot be written, or the file belongs to a later program.
func Open(set Settings) (*Journal, error) {
	set, err := set.filled()
	if err != nil {
		return nil, err
	}
	if set.Folder, err = filepath.Abs(set.Folder); err != nil {
		return nil, fmt.Errorf("cannot open the journal: %w", err)
	}
	if err := os.MkdirAll(set.Folder, 0o750); err != nil {
		return nil, fmt.Errorf("cannot make the journal's folder: %w", err)
	}
	lock, err := hold(set.Folder)
	if err != nil {
		return nil, err
	}
	j := &Journal{
		set: set, lock: lock, cursors: map[string]*cursor{},
		suspect: make(chan error, 1), stop: make(chan struct{}), done: make(chan struct{}), checked: make(chan struct{}),
	}
	j.health.Path = filepath.Join(set.Folder, fileName)
	ctx, cancel := context.WithCancel(context.Background())
	j.check = cancel
	if err := j.start(ctx); err != nil {
		cancel()
		return nil, errors.Join(err, lock.Close())
	}
	j.queue = newQueue(set.Queue, set.Interval, j.newest.Seq)
	go j.write()
	return j, nil
}

// start opens the file, or a new one where the old one must be moved aside.
func (j *Journal) start(ctx context.Context) error {
	path := j.health.Path
	f, err := openFile(path, &j.set)
	large := false
	if err == nil {
		if large = f.size() > checkAtOne; !large {
			err = f.check(ctx)
		}
		if err == nil {
			err = j.resume(f)
		}
		if err != nil {
			err = errors.Join(err, f.close())
		}
	}
	if isDamage(err) || errors.Is(err, errForeign) {
		large = false
		f, err = j.renew(err)
	}
	if err != nil {
		return fmt.Errorf("cannot open the journal %s: %w", path, err)
	}
	j.file = f
	j.health.Epoch = f.epoch
	if !large {
		close(j.checked)
		return nil
	}
	go func() {
		defer close(j.checked)
		if err := f.check(ctx); isDamage(err) {
			j.suspect <- err
		}
	}()
	return nil
}

// renew moves the file aside and begins a new one with a new epoch. Nobody may have the old one open any more.
func (j *Journal) renew(why error) (*file, error) {
	moved, err := aside(j.health.Path, j.set.Clock.UTC())
	if err != nil {
		return nil, err
	}
	f, err := openFile(j.health.Path, &j.set)
	if err != nil {
		return nil, err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if moved == "" {
		j.fault(fmt.Errorf("a new journal was begun: %w", why))
	} else {
		j.health.Aside = append(j.health.Aside, moved)
		j.fault(fmt.Errorf("the journal was moved aside to %s and a new one begun: %w", filepath.Base(moved), why))
	}
	j.health.Epoch = f.epoch
	j.newest, j.restart = Checkpoint{Epoch: f.epoch}, false
	clear(j.cursors) // a publisher begins anew in the new epoch
	return f, nil
}

// fault keeps the newest error for Health; the lock is held.
func (j *Journal) fault(err error) {
	j.health.LastError = j.set.Clock.UTC().Format(time.RFC3339) + " " + err.Error()
}

// Record takes an entry for the record and owns it from then on. It never waits. Sequence numbers must rise.
func (j *Journal) Record(e *agent.Entry) { j.queue.put(e) }

// Last gives where to go on after a restart: the epoch and the last sequence number always, the state and its time only
// where ok.
func (j *Journal) Last() (Checkpoint, bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.newest, j.restart
}

// Epoch names the file; with the trailer and seq it is the key of an entry.
func (j *Journal) Epoch() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.newest.Epoch
}

// Committed is the sequence number of the last entry on the disk, 0 before the first.
func (j *Journal) Committed() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.newest.Seq
}

// Changed gives a channel that closes at the next commit. Ask for it before reading, then nothing is missed.
func (j *Journal) Changed() <-chan struct{} {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.changed == nil {
		j.changed = make(chan struct{})
	}
	return j.changed
}

// Health tells how the record stands.
func (j *Journal) Health() Health {
	queued, dropped, refused := j.queue.counts()
	j.mu.Lock()
	h := j.health
	h.Aside = append([]string(nil), h.Aside...)
	h.Committed, h.Dropped = j.newest.Seq, dropped
	h.Refused += refused
	h.Queued += queued
	j.mu.Unlock()
	h.Size = (&file{path: h.Path}).size()
	return h
}

// Close writes what is queued and ends. The error tells what could not be written.
func (j *Journal) Close() error {
	j.once.Do(func() {
		j.queue.close()
		close(j.stop)
		<-j.done
		j.check()
		<-j.checked
		j.fileMu.Lock()
		defer j.fileMu.Unlock()
		if j.file != nil {
			j.err = errors.Join(j.err, j.file.close())
			j.file = nil
		}
		j.err = errors.Join(j.err, j.lock.Close())
	})
	return j.err
}
