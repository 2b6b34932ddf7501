package replay

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"ionward/agent/trace"
	"ionward/rules"
)

// Instant is a moment of a trace as a person names it.
type Instant struct {
	text  string
	date  time.Time     // with its date; zero for the others
	clock bool          // after is a time of day where the trace has dates
	after time.Duration // since the first row, or since midnight UTC
}

// InstantFault is an instant that cannot be read or is not in the trace.
type InstantFault struct{ What string }

// Error is what is wrong.
func (f *InstantFault) Error() string { return f.What }

func faultf(format string, args ...any) error {
	return &InstantFault{What: fmt.Sprintf(format, args...)}
}

// ParseInstant reads 12:34:56 (a time of day in UTC where the trace has dates, else hours, minutes and seconds since the
// first row), plain seconds since the first row, or an RFC 3339 date; each with any fraction of a second.
func ParseInstant(text string) (Instant, error) {
	i := Instant{text: text}
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		i.date = t
		return i, nil
	}
	parts := strings.Split(text, ":")
	ok := len(parts) == 1 || len(parts) == 3
	if ok && len(parts) == 3 {
		var hours, minutes uint64
		i.clock = true
		hours, ok = whole(parts[0], 1<<20)
		if ok {
			minutes, ok = whole(parts[1], 59)
		}
		i.after = time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
		ok = ok && len(parts[1]) == 2 && (len(parts[2]) == 2 || strings.Index(parts[2], ".") == 2)
	}
	last := parts[len(parts)-1]
	seconds, err := time.ParseDuration(last + "s")
	if !ok || err != nil || strings.Trim(last, "0123456789.") != "" || (i.clock && seconds >= time.Minute) {
		return i, faultf("%q is no instant: want 12:34:56, seconds since the first row, or a date such as 2026-03-01T12:34:56Z", text)
	}
	i.after += seconds
	return i, nil
}

// whole reads digits up to a limit.
func whole(text string, most uint64) (uint64, bool) {
	n, err := strconv.ParseUint(text, 10, 32)
	return n, err == nil && n <= most
}

// place is the instant's time since the first row. A time of day is the first one from the first row on.
func (i *Instant) place(r *trace.Reader) (time.Duration, error) {
	start := time.Unix(0, r.Start).UTC()
	switch {
	case !i.date.IsZero() && !r.Dated:
		return 0, faultf("%s is a date, and the times of the trace have none: want seconds since the first row", i.text)
	case !i.date.IsZero():
		after := i.date.Sub(start)
		if after < 0 {
			return 0, faultf("%s is before the first row, %s", i.text, start.Format(time.RFC3339Nano))
		}
		return after, nil
	case !i.clock || !r.Dated:
		return i.after, nil
	case i.after >= 24*time.Hour:
		return 0, faultf("%s is no time of day", i.text)
	}
	after := start.Truncate(24 * time.Hour).Add(i.after).Sub(start)
	if after < 0 {
		after += 24 * time.Hour
	}
	return after, nil
}

// until gives the rows up to and including an instant, and then the rest of the time to it.
type until struct {
	from    *trace.Reader
	instant Instant
	goal    time.Duration // since the first row
	now     time.Duration // of the last row given
	scanned uint32        // the signals that have a column
	rows    int
	ended   bool
	row     rules.Input
}

// Next gives the next row or the last stretch.
func (u *until) Next(ctx context.Context, within time.Duration, in *rules.Input) error {
	if u.ended {
		return io.EOF
	}
	err := u.from.Next(ctx, within, &u.row)
	switch {
	case errors.Is(err, io.EOF):
		if u.rows > 0 && u.now == u.goal {
			return io.EOF
		}
		return u.short()
	case err != nil:
		return err
	case u.rows == 0:
		if u.goal, err = u.instant.place(u.from); err != nil {
			return err
		}
	}
	if u.now+u.row.Gap <= u.goal {
		u.now += u.row.Gap
		u.rows++
		u.scanned |= u.row.Present
		*in = u.row
		return nil
	}
	u.ended = true
	*in = rules.Input{Gap: u.goal - u.now}
	if u.row.At != 0 {
		in.At = u.from.Start + int64(u.goal)
	}
	return nil
}

// short says that the trace ends too early.
func (u *until) short() error {
	if u.rows == 0 {
		return faultf("the trace has no rows")
	}
	end := clock(u.now) + " after its first row"
	if u.from.Dated {
		end = time.Unix(0, u.from.Start+int64(u.now)).UTC().Format(time.RFC3339Nano)
	}
	return faultf("%s is after the last row, %s: what would come then is not known", u.instant.text, end)
}
