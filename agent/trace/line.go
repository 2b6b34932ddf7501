package trace

import (
	"bufio"
	"bytes"
	"errors"
	"io"
)

// longest is the longest line that is believed to be a row, bytes.
const longest = 1 << 20

// read gives the next line without its end, or io.EOF. The line is valid until the next call.
func (r *Reader) read() ([]byte, error) {
	b, err := r.in.ReadSlice('\n')
	if err == nil { // the usual case, at no cost
		r.lines++
		return chomp(b), nil
	}
	if errors.Is(err, bufio.ErrBufferFull) {
		r.long = append(r.long[:0], b...)
		for errors.Is(err, bufio.ErrBufferFull) && len(r.long) <= longest {
			b, err = r.in.ReadSlice('\n')
			r.long = append(r.long, b...)
		}
		b = r.long
	}
	r.lines++
	switch {
	case len(b) > longest:
		r.line = r.lines
		return nil, r.fault(0, "", "the line is longer than %d bytes: this is not a trace", longest)
	case errors.Is(err, io.EOF) && len(b) == 0:
		return nil, io.EOF
	case err != nil && !errors.Is(err, io.EOF):
		return nil, &Fault{File: r.name, Line: r.lines, What: "cannot read on: " + reason(err)}
	}
	return chomp(b), nil
}

// chomp cuts the line's end off: LF, CR LF, or nothing at the end of the file.
func chomp(b []byte) []byte {
	n := len(b)
	if n > 0 && b[n-1] == '\n' {
		n--
	}
	if n > 0 && b[n-1] == '\r' {
		n--
	}
	return b[:n]
}

// split cuts a line into its cells. Quoted cells (RFC 4180) may hold commas, doubled quotes and line ends; the cells are
// valid until the next line is read.
func (r *Reader) split(line []byte) ([][]byte, error) {
	r.fields = r.fields[:0]
	if bytes.IndexByte(line, '"') >= 0 {
		return r.quoted(line)
	}
	for {
		i := bytes.IndexByte(line, ',')
		if i < 0 {
			r.fields = append(r.fields, line)
			return r.fields, nil
		}
		r.fields = append(r.fields, line[:i])
		line = line[i+1:]
	}
}

// quoted is split for a line that holds a quote: a copy, since a quoted cell may run over several lines.
func (r *Reader) quoted(line []byte) ([][]byte, error) {
	rest := append([]byte(nil), line...)
	for {
		if len(rest) == 0 || rest[0] != '"' {
			cell, more, found := bytes.Cut(rest, []byte{','})
			if i := bytes.IndexByte(cell, '"'); i >= 0 {
				return nil, r.fault(0, "", "a quote stands inside a cell that does not begin with one: double it and quote the whole cell")
			}
			r.fields = append(r.fields, cell)
			if !found {
				return r.fields, nil
			}
			rest = more
			continue
		}
		cell, more, last, err := r.quote(rest[1:])
		if err != nil {
			return nil, err
		}
		r.fields = append(r.fields, cell)
		if last {
			return r.fields, nil
		}
		rest = more
	}
}

// quote reads one quoted cell; rest begins behind its first quote. last: it was the last cell of the row.
func (r *Reader) quote(rest []byte) (cell, more []byte, last bool, err error) {
	for {
		i := bytes.IndexByte(rest, '"')
		switch {
		case i < 0: // the cell goes on in the next line
			next, err := r.read()
			if err == io.EOF {
				return nil, nil, false, r.fault(0, "", "a quoted cell does not end before the end of the file")
			}
			if err != nil {
				return nil, nil, false, err
			}
			if len(cell)+len(rest)+len(next) > longest {
				return nil, nil, false, r.fault(0, "", "a quoted cell is longer than %d bytes", longest)
			}
			cell = append(append(cell, rest...), '\n')
			rest = append([]byte(nil), next...)
		case i+1 < len(rest) && rest[i+1] == '"': // a doubled quote is one
			cell = append(cell, rest[:i+1]...)
			rest = rest[i+2:]
		case i+1 == len(rest):
			return append(cell, rest[:i]...), nil, true, nil
		case rest[i+1] == ',':
			return append(cell, rest[:i]...), rest[i+2:], false, nil
		default:
			return nil, nil, false, r.fault(0, "", "something stands between a closing quote and the next comma")
		}
	}
}
