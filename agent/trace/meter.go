package trace

import (
	"io"
	"os"
	"sync/atomic"
)

// meter counts what is read of a file, so that somebody can tell how far a long replay has come.
type meter struct {
	in   io.Reader
	read atomic.Int64
	size int64 // bytes in all; 0 = not known
}

// newMeter measures a plain file against its size; of a pipe the size is not known.
func newMeter(in io.Reader) *meter {
	m := &meter{in: in}
	if f, ok := in.(*os.File); ok {
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			m.size = info.Size()
		}
	}
	return m
}

// Read reads and counts.
func (m *meter) Read(p []byte) (int, error) {
	n, err := m.in.Read(p)
	m.read.Add(int64(n))
	return n, err
}

// Taken is how many bytes of the file were read so far, compressed ones where it is compressed, and how many there are;
// size is 0 where that is not known, as of a pipe. It may be called while another goroutine reads.
func (r *Reader) Taken() (read, size int64) { return r.meter.read.Load(), r.meter.size }
