// Package trace reads recorded data: a CSV file (RFC 4180, UTF-8) whose first column is time and whose other columns are
// signals, their qualities and the orders of people. It is the Source of a replay.
//
// It guarantees that time never goes backwards, that a missing cell is "no reading" and never a number, and that every
// fault is named with file, line and column. What cannot be parsed is an error unless KeepGoing asks to take it as a bad
// reading; what can be parsed but cannot be water (NaN, negative, out of span) is a bad reading.
//
// It never reads the clock, never guesses a column, and keeps no more of the file in memory than one line.
package trace

import (
	"bufio"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"strings"

	"ionward/rules"
)

// Settings say how a trace is read.
type Settings struct {
	IgnoreUnknown bool         // skip unknown columns instead of refusing the file
	KeepGoing     bool         // take a damaged cell as a bad reading and go on
	NeedDates     bool         // plain seconds will not do: the rows go into a record by date
	OnDamage      func(*Fault) // told of each damaged cell when KeepGoing; may be nil
}

// Fault is what is wrong with a trace, and where.
type Fault struct {
	File   string
	Line   int    // from 1; 0 = the whole file
	Column int    // character in the line, from 1; 0 = the whole line
	Cell   string // "column 3 (flow)"; empty for the whole line
	What   string
}

// Error is file:line:column: cell: what.
func (f *Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d", f.Line)
	}
	if f.Column > 0 {
		fmt.Fprintf(&b, ":%d", f.Column)
	}
	b.WriteString(": ")
	if f.Cell != "" {
		b.WriteString(f.Cell + ": ")
	}
	return b.String() + f.What
}

// Reader is an open trace. It implements agent.Source.
type Reader struct {
	Notes []string // the lines before the header that start with #, without the #
	Dated bool     // time is dates, not plain seconds; known after the first row
	Rows  int      // rows given so far
	Hurt  int      // rows in which at least one cell was damaged, with KeepGoing
	Start int64    // time of the first row: ns since 1970 or since the file's zero

	set     Settings
	name    string
	in      *bufio.Reader
	meter   *meter
	window  []byte // what in has buffered and nobody has read
	closers []io.Closer
	line    int // of the row in hand
	lines   int // read so far
	columns []column
	quick   []quick      // of columns; empty before the first row
	signals []column     // of columns, those that hold a signal
	present uint32       // bit by signal: it has a column
	changes []change     // of the row in hand
	into    *rules.Input // the caller's, which holds the readings of the row before
	begun   bool         // Next has given a row
	minute  minute       // cache of the last dated minute
	last    int64        // time of the row before
	placed  bool         // a row with a time was seen
	row     row
	long    []byte // a line longer than the buffer
	fields  [][]byte
}

// Open opens a trace by name; one that ends in .gz is decompressed. It reads the header; a fault there is returned as
// *Fault.
func Open(name string, set Settings) (*Reader, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, &Fault{File: name, What: "cannot open the trace: " + reason(err)}
	}
	r, err := open(name, f, set)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.closers = append(r.closers, f)
	return r, nil
}

func open(name string, f *os.File, set Settings) (*Reader, error) {
	m := newMeter(f)
	if !strings.HasSuffix(name, ".gz") {
		return read(name, m, m, set)
	}
	z, err := gzip.NewReader(bufio.NewReaderSize(m, 1<<18))
	if err != nil {
		return nil, &Fault{File: name, What: "cannot decompress: " + err.Error()}
	}
	return read(name, z, m, set)
}

// Read reads a trace from in; name is for messages.
func Read(name string, in io.Reader, set Settings) (*Reader, error) {
	m := newMeter(in)
	return read(name, m, m, set)
}

func read(name string, in io.Reader, m *meter, set Settings) (*Reader, error) {
	r := &Reader{name: name, set: set, in: bufio.NewReaderSize(in, 1<<18), meter: m}
	if err := r.header(); err != nil {
		return nil, err
	}
	r.look()
	return r, nil
}

// Close closes what Open opened.
func (r *Reader) Close() error {
	var first error
	for _, c := range r.closers {
		if err := c.Close(); err != nil && first == nil {
			first = err
		}
	}
	return first
}

// fault makes a Fault at a cell of the line in hand.
func (r *Reader) fault(column int, cell, what string, args ...any) *Fault {
	return &Fault{File: r.name, Line: r.line, Column: column, Cell: cell, What: fmt.Sprintf(what, args...)}
}

// reason is an error's last cause: the name of the file is said already.
func reason(err error) string {
	text := err.Error()
	if i := strings.LastIndex(text, ": "); i >= 0 {
		return text[i+2:]
	}
	return text
}
