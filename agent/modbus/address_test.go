package modbus

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParseAddress(t *testing.T) {
	for text, want := range map[string]Address{
		"192.0.2.10:5020":                                  {Host: "192.0.2.10:5020"},
		"tcp://192.0.2.10:5020":                            {Host: "192.0.2.10:5020"},
		"tcp://trailer-7":                                  {Host: "trailer-7:502"},
		"tcp://[2001:db8::1]:502":                          {Host: "[2001:db8::1]:502"},
		"rtu+tcp://trailer-7:4001":                         {RTU: true, Host: "trailer-7:4001"},
		"rtu:///dev/ttyS0":                                 {RTU: true, Device: "/dev/ttyS0", Baud: 19200, Parity: "even", Stop: 1},
		"rtu://COM3?baud=9600&parity=none":                 {RTU: true, Device: "COM3", Baud: 9600, Parity: "none", Stop: 2},
		"rtu:///dev/ttyUSB0?baud=115200&parity=odd&stop=2": {RTU: true, Device: "/dev/ttyUSB0", Baud: 115200, Parity: "odd", Stop: 2},
	} {
		got, err := ParseAddress(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got)
		again, err := ParseAddress(got.String())
		require.NoError(t, err, text)
		assert.Equal(t, want, again, "as it writes itself")
		assert.Equal(t, want.Host+want.Device, got.Line())
	}
	for text, want := range map[string]string{
		"trailer-7": "missing port", ":502": "no host", "ftp://h": `cannot open "ftp"`, "": "missing port",
		"tcp://": "no host", "tcp://h:0": "not within", "tcp://h:70000": "not within", "tcp://h:x": "not readable",
		"tcp://h/path": "more than host and port", "tcp://u@h": "not readable", "tcp://h?a=b": "more than",
		"rtu+tcp://h": "missing port", "rtu://": "no serial device", "rtu:///dev/ttyS0?baud=": "invalid syntax",
		"rtu:///dev/ttyS0?baud=9": "not within 300", "rtu:///dev/ttyS0?parity=mark": "not even, odd or none",
		"rtu:///dev/ttyS0?stop=3": "not 1 or 2", "rtu:///dev/ttyS0?bits=7": `unknown setting "bits"`,
	} {
		_, err := ParseAddress(text)
		assert.ErrorContains(t, err, want, text)
		assert.ErrorContains(t, err, "want tcp://host:port", text)
	}
}

// An address that cannot be read is told at the first read, and when links are shared.
func TestAddressThatCannotBeRead(t *testing.T) {
	link := Open(Settings{Address: "ftp://h"})
	defer link.Close()
	_, err := link.Read(t.Context(), first)
	require.ErrorIs(t, err, ErrDown)
	require.ErrorContains(t, err, "ftp")
	var links Links
	_, err = links.Open(Settings{Address: "ftp://h"})
	require.ErrorContains(t, err, "ftp")
}

// One line can be used in one way only.
func TestLineInTwoWays(t *testing.T) {
	var links Links
	defer links.Close()
	one, err := links.Open(Settings{Address: "rtu:///dev/ttyS0?baud=9600"})
	require.NoError(t, err)
	same, err := links.Open(Settings{Address: "rtu:///dev/ttyS0?baud=9600&parity=even"})
	require.NoError(t, err)
	assert.Same(t, one, same)
	other, err := links.Open(Settings{Address: "rtu:///dev/ttys0?baud=9600"})
	require.NoError(t, err)
	assert.NotSame(t, one, other, "names of files differ by case")
	_, err = links.Open(Settings{Address: "rtu:///dev/ttyS0?baud=19200"})
	assert.ErrorContains(t, err, "make them equal")
	_, err = links.Open(Settings{Address: "rtu:///dev/ttyS0?baud=9600", Echo: true})
	assert.ErrorContains(t, err, "echo")

	one, err = links.Open(Settings{Address: "rtu+tcp://Converter:4001"})
	require.NoError(t, err)
	same, err = links.Open(Settings{Address: "rtu+tcp://converter:4001"})
	require.NoError(t, err)
	assert.Same(t, one, same, "names of hosts do not")
	_, err = links.Open(Settings{Address: "tcp://converter:4001"})
	assert.ErrorContains(t, err, "make them equal")
}

// The table of floors: FC3 of N registers at 11 bits a character,
// (13 + 2N) * 11 / baud + 2 * T3.5 with T3.5 = 1.750 ms above 19200 baud.
func TestTimesOnTheLine(t *testing.T) {
	line := func(baud int) Address { return Address{RTU: true, Device: "x", Baud: baud, Parity: "even", Stop: 1} }
	for baud, want := range map[int][3]float64{
		9600: {27.5, 45.8, 309.4}, 19200: {13.8, 22.9, 154.7}, 38400: {8.4, 13.0, 78.8}, 115200: {5.1, 6.7, 28.6},
	} {
		for i, n := range []uint16{2, 10, 125} {
			got := line(baud).Floor(Request{Kind: Holding, Quantity: n})
			assert.InDelta(t, want[i], float64(got)/float64(time.Millisecond), 0.051, "%d registers at %d", n, baud)
		}
	}
	assert.Equal(t, line(9600).Floor(Request{Kind: Input, Quantity: 2}), line(9600).Floor(Request{Kind: Discrete, Quantity: 32}))
	for baud, want := range map[int]int{9600: 18, 19200: 27, 38400: 47, 115200: 129} {
		assert.Equal(t, want, line(baud).Gap(), "at %d", baud)
	}
	assert.Equal(t, 1750*time.Microsecond, line(19201).Silence())
	assert.InDelta(t, 2005, line(19200).Silence().Microseconds(), 1)
	assert.Equal(t, 27, Address{RTU: true, Host: "h:1"}.Gap(), "a converter's line is unknown: the standard's default")
	assert.Equal(t, MaxRegisters, Address{Host: "h:1"}.Gap())
	assert.Zero(t, Address{Host: "h:1"}.Floor(first))
	assert.Equal(t, 12+9+4, Address{Host: "h:1"}.Size(first))
	assert.Equal(t, 8+5+4, line(9600).Size(first))
	eight := Address{RTU: true, Device: "x", Baud: 10000, Parity: "none", Stop: 1}
	assert.Equal(t, time.Millisecond, eight.character())
}
