// Package journal is the record of a trailer: every scan, event and order, and the state of the rule after the last of
// them, in one SQLite file that survives a kill and a power cut.
//
// It guarantees that Record never waits for the disk; that scans, events and the checkpoint of a batch are committed
// together or not at all; that what comes back is what went in, bit for bit, or is reported as damaged; that a damaged
// file is moved aside and never deleted, and the new one has a new epoch, so that (trailer, epoch, seq) names an entry
// for ever. An entry that matters (an event, an order, a mode other than service, an estimated gap) is committed at
// once; calm scans wait for at most the commit interval, which is all that a power cut can take.
//
// It never stops the loop: when the disk stalls for so long that the queue is full, the oldest calm scans are dropped,
// counted and noted in the record. When the quota is reached the oldest scans make room; their events stay as long as
// there is room for them. It never leaves a dropped or damaged entry out silently: Health counts them, and seq shows the
// hole.
//
// The file, for other readers of it (times are ns since 1970 UTC, spans of rule time are ns):
//
//	meta        key, value                    epoch, trailer, created
//	word        kind, id, text                what the numbers in entry.body mean, by name
//	entry       seq, at, body                 one step: gap, readings, orders; ends in a CRC-32C of seq, at and body
//	event       seq, n, at, kind, body, crc   what happened in it, as JSON
//	checkpoint  seq, at, shape, body, crc     the rule's state after entry seq, as JSON
//	feed        name, epoch, seq              how far each publisher's sink has acknowledged
//	lost        first, last, count, why, at   entries that were dropped and why
package journal

import (
	"errors"
	"fmt"
	"time"

	"ionward/agent"
)

// Settings say where the record lives and how much it may take.
type Settings struct {
	Folder   string        // holds journal.db; made when it is missing
	Trailer  string        // the trailer's id, part of every key that leaves it
	Quota    int64         // bytes on the disk; 0 = 2 GiB; at least 1 MiB
	Interval time.Duration // for so long calm scans may wait for their commit; 0 = 10 s
	Queue    int           // entries kept in memory while the disk stalls; 0 = 4096
	Clock    agent.Clock   // measures Interval; nil = the machine's clock
}

// What Settings leave open.
const (
	defaultQuota    = 2 << 30
	leastQuota      = 1 << 20
	defaultInterval = 10 * time.Second
	defaultQueue    = 4096
)

func (s Settings) filled() (Settings, error) {
	if s.Folder == "" {
		return s, errors.New("cannot open the journal: no folder is set; set journal.folder")
	}
	if s.Trailer == "" {
		return s, errors.New("cannot open the journal: no trailer is set; its id is part of every key")
	}
	if s.Quota == 0 {
		s.Quota = defaultQuota
	}
	if s.Quota < leastQuota {
		return s, fmt.Errorf("cannot open the journal: a quota of %d bytes is too small; set journal.quota to at least 1 MiB", s.Quota)
	}
	if s.Interval <= 0 {
		s.Interval = defaultInterval
	}
	if s.Queue <= 0 {
		s.Queue = defaultQueue
	}
	if s.Clock == nil {
		s.Clock = agent.NewRealClock()
	}
	return s, nil
}
