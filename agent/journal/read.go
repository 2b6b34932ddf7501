package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/signal"
)

// reading runs a query while the file cannot be changed under it.
func (j *Journal) reading(query func(*file) error) error {
	j.fileMu.RLock()
	defer j.fileMu.RUnlock()
	if j.file == nil {
		return errNoFile
	}
	return query(j.file)
}

// resume finds where the record of an opened file ends.
func (j *Journal) resume(f *file) error {
	j.newest, j.restart = Checkpoint{Epoch: f.epoch}, false
	var last struct {
		seq uint64
		at  int64
	}
	err := f.reader.QueryRow("SELECT coalesce(max(seq), 0) FROM entry").Scan(&last.seq)
	if err != nil {
		return err
	}
	var form, body string
	var crc uint32
	err = f.reader.QueryRow("SELECT seq, at, shape, body, crc FROM checkpoint").Scan(&j.newest.Seq, &last.at, &form, &body, &crc)
	seq := j.newest.Seq
	j.newest.Seq = max(last.seq, seq) // entries may be pruned, their numbers are never used again
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil
	case err != nil:
		return err
	case crc != checksum(seq, last.at, []byte(body)):
		return fmt.Errorf("the checkpoint: %w", errDamaged)
	case seq < last.seq:
		return nil // the last entry's state had no form
	case !fits(form):
		j.fault(errors.New("the saved state is another program's: the rule starts anew"))
		return nil
	}
	if err := json.Unmarshal([]byte(body), &j.newest.State); err != nil {
		return fmt.Errorf("the checkpoint: %w", errDamaged)
	}
	j.newest.At, j.restart = last.at, true
	return nil
}

// Entries gives up to limit entries after seq, in order, as they were recorded. Of State only Elapsed, Since and Mode are
// filled in; the whole state is kept for the last entry alone (Last). An entry that is damaged is left out and counted
// in Health: the hole shows in seq.
func (j *Journal) Entries(ctx context.Context, after uint64, limit int) ([]*agent.Entry, error) {
	var out []*agent.Entry
	err := j.reading(func(f *file) error {
		// A stretch in which every entry is damaged must not look like the end of the record.
		for more := true; more && len(out) == 0; {
			seen := 0
			err := j.scans(ctx, f, "seq > ? ORDER BY seq LIMIT ?", after, limit, fresh, func(e *agent.Entry, err error) {
				seen++
				after = e.Seq
				if err == nil {
					out = append(out, e)
				}
			})
			if err != nil {
				return err
			}
			more = seen == limit
		}
		if len(out) == 0 {
			return nil
		}
		return j.attach(ctx, f, out)
	})
	if err != nil {
		return nil, fmt.Errorf("cannot read the journal: %w", err)
	}
	return out, nil
}

func fresh() *agent.Entry { return new(agent.Entry) }

// scans visits entries without their events, in what next gives; of a damaged one only the key can be trusted.
func (j *Journal) scans(ctx context.Context, f *file, where string, from, to any, next func() *agent.Entry, visit func(*agent.Entry, error)) error {
	rows, err := f.reader.QueryContext(ctx, "SELECT seq, at, body FROM entry WHERE "+where, from, to)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		e := next()
		e.Epoch = f.epoch
		var body sql.RawBytes
		if err := rows.Scan(&e.Seq, &e.At, &body); err != nil {
			return err
		}
		err := f.words.unpack(body, e)
		if err != nil {
			j.damaged(fmt.Errorf("entry %d: %w", e.Seq, err))
		}
		visit(e, err)
	}
	return rows.Err()
}

func (j *Journal) damaged(err error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.health.Damaged++
	j.fault(err)
}

// attach gives each entry its events.
func (j *Journal) attach(ctx context.Context, f *file, entries []*agent.Entry) error {
	first, last := entries[0].Seq, entries[len(entries)-1].Seq
	i := 0
	return j.events(ctx, f, "seq BETWEEN ? AND ? ORDER BY seq, n", first, last, func(e *Event) {
		for i < len(entries) && entries[i].Seq < e.Seq {
			i++
		}
		if i < len(entries) && entries[i].Seq == e.Seq {
			entries[i].Events = append(entries[i].Events, e.Event)
		}
	})
}

// Event is one event of the record.
type Event struct {
	Seq   uint64 // of its entry
	N     int    // its place in the entry, from 0
	At    int64  // UTC of its exact instant, ns since 1970
	Event rules.Event
}

// Events gives what happened from one instant until before another (UTC, ns since 1970), in order of the record. Events
// outlive their scans where the quota made room.
func (j *Journal) Events(ctx context.Context, from, to int64) ([]Event, error) {
	var out []Event
	err := j.reading(func(f *file) error {
		return j.events(ctx, f, "at >= ? AND at < ? ORDER BY seq, n", from, to, func(e *Event) { out = append(out, *e) })
	})
	if err != nil {
		return nil, fmt.Errorf("cannot read the journal's events: %w", err)
	}
	return out, nil
}

func (j *Journal) events(ctx context.Context, f *file, where string, from, to any, visit func(*Event)) error {
	rows, err := f.reader.QueryContext(ctx, "SELECT seq, n, at, kind, body, crc FROM event WHERE "+where, from, to)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var e Event
		var kind, body string
		var crc uint32
		if err := rows.Scan(&e.Seq, &e.N, &e.At, &kind, &body, &crc); err != nil {
			return err
		}
		e.Event, err = unpackEvent(kind, []byte(body))
		if err != nil || crc != checksum(e.Seq, int64(e.N), []byte(body)) {
			j.damaged(fmt.Errorf("event %d of entry %d: %w", e.N, e.Seq, errDamaged))
			continue
		}
		visit(&e)
	}
	return rows.Err()
}

// Trend is a stretch of some signals' readings, by column.
type Trend struct {
	At       []int64 // UTC, ns since 1970
	Seq      []uint64
	Readings [][]signal.Reading // one column for each signal asked for
}

// Range gives the scans of some signals from one instant until before another (UTC, ns since 1970), in order of the
// record.
func (j *Journal) Range(ctx context.Context, from, to int64, ids ...signal.ID) (*Trend, error) {
	t := &Trend{Readings: make([][]signal.Reading, len(ids))}
	err := j.reading(func(f *file) error {
		var one agent.Entry // a day has 86,400 of them: one is enough
		next := func() *agent.Entry { one = agent.Entry{}; return &one }
		return j.scans(ctx, f, "at >= ? AND at < ? ORDER BY seq", from, to, next, func(e *agent.Entry, err error) {
			if err != nil || !e.Scan {
				return
			}
			t.At, t.Seq = append(t.At, e.At), append(t.Seq, e.Seq)
			for i, id := range ids {
				t.Readings[i] = append(t.Readings[i], e.Readings[id])
			}
		})
	})
	if err != nil {
		return nil, fmt.Errorf("cannot read the journal's trend: %w", err)
	}
	return t, nil
}
