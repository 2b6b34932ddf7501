package modbus

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// port is a serial line as the kernel shows it. Its reads and writes obey deadlines,
// and a line whose adapter was pulled out ends them.
type port struct{ *os.File }

// openPort opens a serial line, raw, for this program alone. RS-485 adapters switch
// their driver themselves; the kernel is never asked to, as most refuse.
func openPort(a Address) (duplex, error) {
	// Without O_NONBLOCK the open would wait for a carrier that no such line has.
	f, err := os.OpenFile(a.Device, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("%w; is the adapter plugged in, and may this user open it?", err)
	}
	p := port{f}
	if err := p.control(func(fd int) error { return setUp(fd, a) }); err != nil {
		_ = f.Close() // nothing was done with it
		return nil, err
	}
	return p, nil
}

// control runs f on the file descriptor.
func (p port) control(f func(fd int) error) error {
	raw, err := p.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := raw.Control(func(fd uintptr) { inner = f(int(fd)) }); err != nil {
		return err
	}
	return inner
}

// Close throws away what was not sent yet: to wait for it on a dead line could take
// half a minute.
func (p port) Close() error {
	_ = p.control(func(fd int) error { return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIOFLUSH) })
	return p.File.Close()
}

// setUp claims a line and makes it raw: bytes pass as they are, 8 data bits, no flow
// control, and a byte with a parity error comes through as 0 and fails the checksum.
func setUp(fd int, a Address) error {
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return fmt.Errorf("%s: another program uses the line: %w", a.Device, err)
	}
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS2)
	if err != nil {
		return fmt.Errorf("%s is no serial line: %w", a.Device, err)
	}
	t.Iflag, t.Oflag, t.Lflag = unix.INPCK, 0, 0
	// BOTHER: the rate stands in Ispeed and Ospeed, whatever it is.
	t.Cflag = unix.CS8 | unix.CREAD | unix.CLOCAL | unix.BOTHER | unix.BOTHER<<unix.IBSHIFT
	t.Ispeed, t.Ospeed = uint32(a.Baud), uint32(a.Baud)
	switch a.Parity {
	case "even":
		t.Cflag |= unix.PARENB
	case "odd":
		t.Cflag |= unix.PARENB | unix.PARODD
	}
	if a.Stop == 2 {
		t.Cflag |= unix.CSTOPB
	}
	// A read then returns with the first byte, and one of nothing means that the line
	// is gone.
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(fd, unix.TCSETS2, t); err != nil {
		return fmt.Errorf("%s refuses %d baud, parity %s, stop %d: %w", a.Device, a.Baud, a.Parity, a.Stop, err)
	}
	// What lay there before is nobody's.
	return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIOFLUSH)
}
