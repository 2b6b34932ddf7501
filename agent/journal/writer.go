package journal

import (
	"errors"
	"fmt"
	"time"

	"ionward/agent"
)

const (
	batchLimit = 512 // entries in one transaction
	pruneLeast = 256 // entries that go at once when there is no room
	pruneShare = 20  // or one in so many
	firstRetry = time.Second
	lastRetry  = 30 * time.Second
)

// batch is what one transaction writes.
type batch struct {
	entries []*agent.Entry
	lost    []span
	cursors map[string]cursor
	refused int // entries that have no form on the disk
}

// part is the first of so many shares of it, with all that is not entries.
func (b *batch) part(share int) *batch {
	n := (len(b.entries) + share - 1) / share
	return &batch{entries: b.entries[:n], lost: b.lost, cursors: b.cursors}
}

func (b *batch) empty() bool { return len(b.entries) == 0 && len(b.lost) == 0 && len(b.cursors) == 0 }

// write is the one writer: it waits until something is due, and writes it.
func (j *Journal) write() {
	defer close(j.done)
	var pending batch // taken from the queue, not yet on the disk
	for {
		stopped, bad := j.wait()
		if bad != nil {
			j.replace(bad)
		}
		err := j.flush(&pending)
		if stopped {
			j.err = j.leave(&pending, err)
			return
		}
		for retry := firstRetry; err != nil && !stopped; retry = min(2*retry, lastRetry) {
			// A stalled disk is the machine's: it is waited for in its time, whatever the journal's clock does.
			timer := time.NewTimer(retry)
			select {
			case <-timer.C:
				err = j.flush(&pending)
			case <-j.stop:
				stopped = true // wait sees it too and the last flush is made there
			}
			timer.Stop()
		}
	}
}

// wait returns when something must be written: an entry that matters, calm scans that have waited for the interval, or
// the end.
func (j *Journal) wait() (stopped bool, damage error) {
	var timer <-chan time.Time
	cancel := func() {}
	defer func() { cancel() }()
	for {
		due, waiting := j.queue.ready()
		if due || j.cursorsDue() {
			return j.stopping(), nil
		}
		if waiting && timer == nil {
			timer, cancel = j.set.Clock.Timer(j.set.Interval)
		}
		select {
		case <-j.queue.wake:
		case <-timer:
			return j.stopping(), nil
		case err := <-j.suspect:
			return j.stopping(), err
		case <-j.stop:
			return true, nil
		}
	}
}

func (j *Journal) stopping() bool {
	select {
	case <-j.stop:
		return true
	default:
		return false
	}
}

// flush writes until the queue is empty.
func (j *Journal) flush(p *batch) error {
	for room, share := 0, 1; ; {
		if len(p.entries) == 0 {
			entries, lost := j.queue.take()
			p.entries, p.lost = entries, append(p.lost, lost...)
			j.mu.Lock()
			j.health.Queued = len(entries)
			j.mu.Unlock()
		}
		p.cursors = j.dirtyCursors()
		if p.empty() {
			return nil
		}
		part := p.part(share)
		err := j.commit(part)
		if isFull(err) {
			// The quota is used up: room is made, then less is written at a time. Where the disk itself is full, making room
			// fails as well, and the error stands.
			if room++; room <= 8 && j.prune() == nil {
				continue
			}
			if len(part.entries) > 1 {
				share, room = 2*share, 0
				continue
			}
		}
		if isDamage(err) && j.replace(err) == nil {
			continue
		}
		if err != nil {
			j.mu.Lock()
			j.health.Failing = true
			j.fault(fmt.Errorf("cannot write the journal: %w", err))
			j.mu.Unlock()
			return err
		}
		j.committed(part)
		p.entries, p.lost = p.entries[len(part.entries):], nil
		room = 0
	}
}

func (j *Journal) commit(p *batch) error {
	j.fileMu.RLock()
	f := j.file
	j.fileMu.RUnlock()
	// Only this goroutine and Close, which waits for it, change the file.
	if f == nil {
		if err := j.replace(errNoFile); err != nil {
			return err
		}
		f = j.file
	}
	return f.commit(p)
}

var errNoFile = errors.New("there is no file")

// committed tells readers what is on the disk now.
func (j *Journal) committed(p *batch) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.health.Failing = false
	j.health.Commits++
	j.health.At = j.set.Clock.UTC()
	j.health.Refused += uint64(p.refused)
	j.health.Queued -= len(p.entries)
	for name, c := range p.cursors {
		if now := j.cursors[name]; now != nil && now.epoch == c.epoch {
			now.durable = c.seq
		}
	}
	if n := len(p.entries); n > 0 {
		last := p.entries[n-1]
		j.newest.Seq, j.newest.At, j.newest.State = last.Seq, last.At, last.State
		j.restart = true
	}
	if j.changed != nil {
		close(j.changed)
		j.changed = nil
	}
}

// replace moves a file that turned out to be damaged aside while the loop goes on, and begins a new one.
func (j *Journal) replace(why error) error {
	j.fileMu.Lock()
	defer j.fileMu.Unlock()
	if j.file != nil {
		_ = j.file.close() // what it says of a damaged file helps nobody
		j.file = nil
	}
	f, err := j.renew(why)
	if err != nil {
		return err
	}
	j.file = f
	return nil
}

// prune makes room and counts what it cost.
func (j *Journal) prune() error {
	j.fileMu.RLock()
	defer j.fileMu.RUnlock()
	if j.file == nil {
		return errNoFile
	}
	n, err := j.file.prune(j.set.Clock.UTC().UnixNano())
	if err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.health.Full = true
	j.health.Pruned += n
	j.fault(fmt.Errorf("the journal's quota is used up: %d entries were deleted; set a larger journal.quota", n))
	return nil
}

// leave is the last flush's error, with what it lost.
func (j *Journal) leave(p *batch, err error) error {
	if err == nil {
		return nil
	}
	queued, _, _ := j.queue.counts()
	return fmt.Errorf("cannot write the journal: the last %d entries are lost: %w", queued+len(p.entries), err)
}
