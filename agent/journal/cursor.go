package journal

import (
	"database/sql"
	"errors"
	"fmt"
)

// cursorStep is how far a cursor may move before it is worth a commit of its own: so many messages are repeated after a
// power cut at most.
const cursorStep = 1000

// cursor is how far a feed's sink has acknowledged.
type cursor struct {
	epoch   string
	seq     uint64
	durable uint64 // seq on the disk
}

// Cursor gives how far a feed has come: the epoch and the last acknowledged seq; "" and 0 for a feed never seen.
func (j *Journal) Cursor(feed string) (epoch string, seq uint64, err error) {
	j.mu.Lock()
	c, known := j.cursors[feed]
	if known {
		epoch, seq = c.epoch, c.seq
	}
	j.mu.Unlock()
	if known {
		return epoch, seq, nil
	}
	err = j.reading(func(f *file) error {
		err := f.reader.QueryRow("SELECT epoch, seq FROM feed WHERE name = ?", feed).Scan(&epoch, &seq)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		return err
	})
	if err != nil {
		return "", 0, fmt.Errorf("cannot read the cursor of %s: %w", feed, err)
	}
	return epoch, seq, nil
}

// SetCursor moves a feed's cursor. It reaches the disk with the next commit of entries, after 1000 entries, or at Close:
// a move that is lost only repeats messages.
func (j *Journal) SetCursor(feed, epoch string, seq uint64) {
	j.mu.Lock()
	c := j.cursors[feed]
	if c == nil || c.epoch != epoch {
		c = &cursor{epoch: epoch, durable: seq}
		if seq > 0 {
			c.durable--
		}
		j.cursors[feed] = c
	}
	c.seq = seq
	far := c.far()
	j.mu.Unlock()
	if far {
		j.queue.signal()
	}
}

func (c *cursor) far() bool { return c.seq >= c.durable+cursorStep || c.seq < c.durable }

// cursorsDue reports whether a cursor has moved so far that it is worth a commit.
func (j *Journal) cursorsDue() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, c := range j.cursors {
		if c.far() {
			return true
		}
	}
	return false
}

// dirtyCursors are those that the disk does not have yet.
func (j *Journal) dirtyCursors() map[string]cursor {
	j.mu.Lock()
	defer j.mu.Unlock()
	var dirty map[string]cursor
	for name, c := range j.cursors {
		if c.seq != c.durable {
			if dirty == nil {
				dirty = map[string]cursor{}
			}
			dirty[name] = *c
		}
	}
	return dirty
}
