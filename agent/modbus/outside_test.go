package modbus

import (
	"bufio"
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// need finds an outside program. Where it is missing the test is skipped, or fails if
// nothing may be skipped.
func need(t testing.TB, program string, works ...string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err == nil && len(works) > 0 {
		var out []byte
		if out, err = exec.Command(path, works...).CombinedOutput(); err != nil {
			t.Logf("%s", out)
		}
	}
	if err == nil {
		return path
	}
	if os.Getenv("IONWARD_NO_SKIP") != "" {
		require.NoError(t, err, "%s %s must be there", program, strings.Join(works, " "))
	}
	t.Skipf("%s %s: %v", program, strings.Join(works, " "), err)
	return ""
}

// outside is another program at work. It ends with the test.
type outside struct {
	*exec.Cmd
	in  io.Writer
	out *bufio.Scanner
	end func()
}

func start(t testing.TB, program string, args ...string) *outside {
	t.Helper()
	o := &outside{Cmd: exec.Command(program, args...)}
	in, err := o.StdinPipe()
	require.NoError(t, err)
	out, err := o.StdoutPipe()
	require.NoError(t, err)
	o.in, o.out, o.Stderr = in, bufio.NewScanner(out), os.Stderr
	require.NoError(t, o.Start())
	o.end = sync.OnceFunc(func() {
		_ = o.Process.Kill() // it may have ended by itself
		_ = o.Wait()         // and was killed otherwise
	})
	t.Cleanup(o.end)
	return o
}

// line is the next line that the program prints.
func (o *outside) line(t testing.TB) string {
	t.Helper()
	require.True(t, o.out.Scan(), "%s ended: %v", o.Path, o.out.Err())
	return o.out.Text()
}

// ptys makes two serial lines that are connected with each other. end pulls them out.
func ptys(t testing.TB) (here, there string, end func()) {
	t.Helper()
	folder := t.TempDir()
	here, there = filepath.Join(folder, "here"), filepath.Join(folder, "there")
	o := start(t, need(t, "socat"), "pty,raw,echo=0,link="+here, "pty,raw,echo=0,link="+there)
	require.Eventually(t, func() bool {
		_, a := os.Stat(here)
		_, b := os.Stat(there)
		return a == nil && b == nil
	}, 10*time.Second, time.Millisecond)
	return here, there, o.end
}

// libmodbus builds the peer on the C library.
func libmodbus(t testing.TB) string {
	t.Helper()
	need(t, "cc")
	need(t, "cc", "-E", "-I/usr/include/modbus", "-include", "modbus.h", "-o", os.DevNull, "-x", "c", os.DevNull)
	binary := filepath.Join(t.TempDir(), "peer")
	out, err := exec.Command("cc", "-O2", "-Wall", "-Wextra", "-Werror", "-o", binary, "testdata/peer.c", "-I/usr/include/modbus", "-lmodbus").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return binary
}

// sweep reads every table in the lengths at which a byte or the standard ends.
func sweep(t *testing.T, link *Link, unit uint8) {
	t.Helper()
	for _, kind := range []Kind{Coil, Discrete, Holding, Input} {
		lengths := []uint16{1, 2, 10, 124, 125}
		if kind.Bits() {
			lengths = []uint16{1, 7, 8, 9, 16, 1999, 2000}
		}
		for _, n := range lengths {
			for _, address := range []uint16{0, 1, 0x0300, 4000 - n} {
				r := Request{UnitID: unit, Kind: kind, Address: address, Quantity: n}
				data, err := link.Read(context.Background(), r)
				require.NoError(t, err)
				require.Equal(t, expected(r), data, "%s", r)
			}
		}
	}
}

func refuses(t *testing.T, link *Link, code byte, r Request) {
	t.Helper()
	_, err := link.Read(context.Background(), r)
	require.Truef(t, match(err, &Exception{code}), "%s: %v", r, err)
}
