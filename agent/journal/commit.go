package journal

import (
	"database/sql"
	"encoding/json"
	"errors"

	"ionward/agent"
)

// commit writes a batch: entries, events, checkpoint and cursors, all or nothing.
func (f *file) commit(p *batch) error {
	tx, err := f.writer.Begin()
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	p.refused = 0
	insert, event := tx.Stmt(f.insert), tx.Stmt(f.event)
	var body []byte
	for _, e := range p.entries {
		packed, packErr := f.words.pack(body[:0], e)
		if packErr != nil {
			// It cannot ever be written: it is counted, and must not keep what follows from the disk.
			p.refused++
			err = addLost(tx, span{first: e.Seq, last: e.Seq, count: 1, at: e.At}, packErr.Error())
		} else {
			body = packed
			if _, err = insert.Exec(e.Seq, e.At, body); err == nil {
				err = f.events(event, e, p)
			}
		}
		if err != nil {
			return err
		}
	}
	for _, s := range p.lost {
		if err := addLost(tx, s, "the disk stalled"); err != nil {
			return err
		}
	}
	if n := len(p.entries); n > 0 {
		if err := checkpoint(tx, p.entries[n-1]); err != nil {
			return err
		}
	}
	for name, c := range p.cursors {
		if _, err := tx.Exec("INSERT INTO feed(name, epoch, seq) VALUES(?, ?, ?) ON CONFLICT(name) DO UPDATE SET epoch = excluded.epoch, seq = excluded.seq", name, c.epoch, c.seq); err != nil {
			return err
		}
	}
	return tx.Commit()
}

func (f *file) events(insert *sql.Stmt, e *agent.Entry, p *batch) error {
	for n := range e.Events {
		event := &e.Events[n]
		kind, body, err := packEvent(event)
		if err != nil {
			p.refused++
			continue
		}
		at := eventTime(e.At, int64(e.State.Elapsed), int64(event.At))
		if _, err := insert.Exec(e.Seq, n, at, kind, string(body), checksum(e.Seq, int64(n), body)); err != nil {
			return err
		}
	}
	return nil
}

// eventTime is the UTC instant of an event at rule time at, in a step that ended at end, which is elapsed in rule time.
func eventTime(end, elapsed, at int64) int64 { return end - (elapsed - at) }

func addLost(tx *sql.Tx, s span, why string) error {
	_, err := tx.Exec("INSERT INTO lost(first, last, count, why, at) VALUES(?, ?, ?, ?, ?)", s.first, s.last, s.count, why, s.at)
	return err
}

// checkpoint replaces the state to go on from. A state that has no form in JSON (not a number in it) leaves none: a
// restart then begins with a new state rather than with one that does not belong to the last entry.
func checkpoint(tx *sql.Tx, e *agent.Entry) error {
	body, err := json.Marshal(&e.State)
	if err != nil {
		_, err = tx.Exec("DELETE FROM checkpoint")
		return err
	}
	_, err = tx.Exec("INSERT OR REPLACE INTO checkpoint(one, seq, at, shape, body, crc) VALUES(1, ?, ?, ?, ?, ?)",
		e.Seq, e.At, programShape, string(body), checksum(e.Seq, e.At, body))
	return err
}

var programShape = shape()

// prune deletes the oldest entries, or, where there are hardly any, the oldest events. The events of an entry stay as
// long as they can: they are small and what people look for.
func (f *file) prune(now int64) (uint64, error) {
	tx, err := f.writer.Begin()
	if err != nil {
		return 0, err
	}
	defer func() { _ = tx.Rollback() }()
	var first, last, count uint64
	if err := tx.QueryRow("SELECT coalesce(min(seq), 0), coalesce(max(seq), 0), count(*) FROM entry").Scan(&first, &last, &count); err != nil {
		return 0, err
	}
	if count <= pruneLeast {
		done, err := tx.Exec("DELETE FROM event WHERE seq <= (SELECT seq FROM event ORDER BY seq LIMIT 1 OFFSET ?)", pruneLeast)
		if err != nil {
			return 0, err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return 0, errors.Join(errors.New("there is nothing left to delete"), err)
		}
		return 0, tx.Commit()
	}
	upTo := first + max(pruneLeast, count/pruneShare) - 1
	done, err := tx.Exec("DELETE FROM entry WHERE seq <= ?", upTo)
	if err != nil {
		return 0, err
	}
	n, err := done.RowsAffected()
	if err != nil {
		return 0, err
	}
	// Runs that touch are one row, so that a full journal's notes do not grow without end.
	moved, err := tx.Exec("UPDATE lost SET last = ?, count = count + ?, at = ? WHERE why = 'quota'", upTo, n, now)
	if err != nil {
		return 0, err
	}
	if rows, err := moved.RowsAffected(); err == nil && rows == 0 {
		if err := addLost(tx, span{first: first, last: upTo, count: int(n), at: now}, "quota"); err != nil {
			return 0, err
		}
	}
	return uint64(n), tx.Commit()
}
