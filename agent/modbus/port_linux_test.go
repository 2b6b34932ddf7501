package modbus

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// line is a serial line with the settings of an address.
func line(device string, baud int) Address {
	return Address{RTU: true, Device: device, Baud: baud, Parity: "even", Stop: 1}
}

// Both ways to a serial line: the kernel's, and the portable library's, which serves
// other systems. Each obeys deadlines, carries all bytes as they are, and knows when
// the line is gone.
func TestPorts(t *testing.T) {
	for name, open := range map[string]func(Address) (duplex, error){"kernel": openPort, "stepped": openStepped} {
		t.Run(name, func(t *testing.T) {
			here, there, pull := ptys(t)
			a, err := open(line(here, 115200))
			require.NoError(t, err)
			b, err := open(line(there, 115200))
			require.NoError(t, err)

			buf := make([]byte, 512)
			past := time.Now().Add(20 * time.Millisecond)
			require.NoError(t, a.SetReadDeadline(past))
			_, err = a.Read(buf)
			require.True(t, isTimeout(err), "%v", err)
			require.False(t, time.Now().Before(past))

			all := make([]byte, 256) // among them what a terminal would act upon
			for i := range all {
				all[i] = byte(i)
			}
			for range 3 {
				require.NoError(t, a.SetDeadline(time.Now().Add(time.Minute)))
				require.NoError(t, b.SetDeadline(time.Now().Add(time.Minute)))
				_, err = a.Write(all)
				require.NoError(t, err)
				n, err := io.ReadFull(b, buf[:256])
				require.NoError(t, err)
				require.True(t, bytes.Equal(all, buf[:n]))
			}

			// A read that waits ends when it is told to, long before its deadline.
			ended := make(chan error, 1)
			go func() {
				_, err := a.Read(buf)
				ended <- err
			}()
			require.NoError(t, a.SetDeadline(aborted))
			require.True(t, isTimeout(<-ended))
			_, err = a.Write(all)
			require.True(t, isTimeout(err), "%v", err)

			require.NoError(t, a.SetDeadline(time.Now().Add(time.Minute)))
			pull()
			_, err = a.Read(buf)
			require.Error(t, err)
			require.False(t, isTimeout(err), "%v", err)
			require.NoError(t, b.Close())
			_ = a.Close() // the line is gone: it may complain
		})
	}
}

func TestPortsThatCannotBeOpened(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for name, open := range map[string]func(Address) (duplex, error){"kernel": openPort, "stepped": openStepped} {
		_, err := open(line(filepath.Join(t.TempDir(), "none"), 9600))
		assert.ErrorContains(t, err, "no such file", name)
		assert.ErrorContains(t, err, "adapter plugged in", name)
		_, err = open(line(file, 9600))
		assert.ErrorContains(t, err, file, name)
	}

	here, _, _ := ptys(t)
	p, err := openPort(line(here, 250000)) // not one of the usual rates
	require.NoError(t, err)
	_, err = openPort(line(here, 9600))
	require.ErrorContains(t, err, "another program uses the line")
	require.NoError(t, p.Close())
	for _, a := range []Address{
		{Device: here, Baud: 300, Parity: "odd", Stop: 1}, {Device: here, Baud: 1000000, Parity: "none", Stop: 2},
	} {
		p, err = openPort(a)
		require.NoError(t, err)
		require.NoError(t, p.Close())
	}
}

// A cancelled read leaves a serial line in order, and so does a link that is closed
// and opened again.
func TestSerialLine(t *testing.T) {
	here, there, pull := ptys(t)
	p := &peer{rtu: true}
	far, err := openPort(line(there, 19200))
	require.NoError(t, err)
	p.work.Add(1)
	go p.session(farEnd{far})
	defer p.end()
	at := "rtu://" + here + "?baud=19200"
	for range 2 {
		link := Open(Settings{Address: at, Timeout: time.Minute})
		for range 3 {
			ctx, cancel := context.WithCancel(t.Context())
			p.next(func(c call) { cancel() })
			_, err := link.Read(ctx, second)
			require.Truef(t, match(err, ErrCancelled), "%v", err)
			mustRead(t, link, other)
		}
		link.Close()
	}
	link := Open(Settings{Address: at, Timeout: time.Minute})
	defer link.Close()
	mustRead(t, link, first)
	pull()
	_, err = link.Read(t.Context(), first)
	require.Truef(t, match(err, ErrDown), "%v", err)
}
