package replay

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"ionward/agent/trace"
)

// Bar shows how far a replay has come: rows, and where the size of the trace is known percent and time left. Its methods
// are safe for concurrent use. What is written through it never runs into the bar.
type Bar struct {
	out    io.Writer // standard error
	shown  bool
	lively bool             // out is a terminal: the line is drawn over; else each is a line of its own
	now    func() time.Time // the clock
	reader *trace.Reader    // nil until Watch

	lock    sync.Mutex
	began   time.Time
	last    time.Time // drawn
	written int       // letters of the line that stands on the terminal
}

// refresh is the shortest time between two drawings; the first comes after as long, so that a short replay shows none.
const refresh = 200 * time.Millisecond

// NewBar makes a bar on out. One that is not shown only passes on what is written through it.
func NewBar(out io.Writer, shown, lively bool) *Bar {
	b := &Bar{out: out, shown: shown, lively: lively, now: time.Now}
	b.began = b.now()
	b.last = b.began
	return b
}

// Watch tells the bar which trace is read.
func (b *Bar) Watch(r *trace.Reader) { b.reader = r }

// Rows tells how many rows are done.
func (b *Bar) Rows(rows int) {
	if !b.shown {
		return
	}
	b.lock.Lock()
	defer b.lock.Unlock()
	now := b.now()
	if now.Sub(b.last) < refresh {
		return
	}
	b.last = now
	text := b.text(rows, now.Sub(b.began))
	if !b.lively {
		fmt.Fprintln(b.out, text)
		return
	}
	blank := max(0, b.written-utf8.RuneCountInString(text))
	b.written = utf8.RuneCountInString(text)
	fmt.Fprint(b.out, "\r"+text+strings.Repeat(" ", blank))
}

// text is the line of the bar.
func (b *Bar) text(rows int, spent time.Duration) string {
	done := thousands(float64(rows), 0) + " rows"
	if b.reader == nil {
		return done
	}
	read, size := b.reader.Taken()
	if size <= 0 {
		return done
	}
	const width = 24
	part := min(1, float64(read)/float64(size))
	full := int(part * width)
	line := fmt.Sprintf("[%s%s] %3.0f %%  %s", strings.Repeat("#", full), strings.Repeat(".", width-full), part*100, done)
	if part < 0.01 || spent < time.Second {
		return line // too early to tell
	}
	left := time.Duration(float64(spent) * (1 - part) / part)
	return line + "  " + clock(left.Round(time.Second)) + " left"
}

// wipe takes the line off the terminal; the lock is held.
func (b *Bar) wipe() {
	if b.written > 0 {
		fmt.Fprint(b.out, "\r"+strings.Repeat(" ", b.written)+"\r")
		b.written = 0
	}
}

// Done takes the bar away.
func (b *Bar) Done() {
	b.lock.Lock()
	defer b.lock.Unlock()
	b.wipe()
}

// Write writes to the bar's own output, with the bar out of the way.
func (b *Bar) Write(p []byte) (int, error) { return b.Around(b.out).Write(p) }

// Around gives a writer to another output that may be the same terminal: the bar gives way to what is written.
func (b *Bar) Around(out io.Writer) io.Writer { return &beside{bar: b, out: out} }

type beside struct {
	bar *Bar
	out io.Writer
}

func (w *beside) Write(p []byte) (int, error) {
	w.bar.lock.Lock()
	defer w.bar.lock.Unlock()
	w.bar.wipe()
	return w.out.Write(p)
}
