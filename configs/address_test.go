package configs

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParseAddress(t *testing.T) {
	for s, want := range map[string]Address{
		"tcp://192.0.2.10:1502":                      {Scheme: TCP, Host: "192.0.2.10:1502"},
		"tcp://192.0.2.10":                           {Scheme: TCP, Host: "192.0.2.10:502"},
		"TCP://gateway:502":                          {Scheme: TCP, Host: "gateway:502"},
		"tcp://[2001:db8::1]":                        {Scheme: TCP, Host: "[2001:db8::1]:502"},
		"rtu+tcp://192.0.2.20:4001":                  {Scheme: RTUOverTCP, Host: "192.0.2.20:4001"},
		"rtu:///dev/ttyS0":                           {Scheme: RTU, Device: "/dev/ttyS0", Baud: 19200, Parity: "even", Stop: 1},
		"rtu:///dev/ttyS0?baud=9600&parity=none":     {Scheme: RTU, Device: "/dev/ttyS0", Baud: 9600, Parity: "none", Stop: 2},
		"rtu:///dev/ttyUSB0?parity=none&stop=1":      {Scheme: RTU, Device: "/dev/ttyUSB0", Baud: 19200, Parity: "none", Stop: 1},
		"rtu://COM3?baud=115200&parity=odd&stop=2":   {Scheme: RTU, Device: "COM3", Baud: 115200, Parity: "odd", Stop: 2},
		"rtu:///dev/serial/by-id/usb-1234-if00-port": {Scheme: RTU, Device: "/dev/serial/by-id/usb-1234-if00-port", Baud: 19200, Parity: "even", Stop: 1},
	} {
		got, err := ParseAddress(s)
		require.NoError(t, err, s)
		assert.Equal(t, want, got, s)
		again, err := ParseAddress(got.String())
		require.NoError(t, err, "what %s is written as", s)
		assert.Equal(t, got, again)
	}
}

func TestParseAddressRefuses(t *testing.T) {
	for s, want := range map[string]string{
		"127.0.0.1:502":                   "is not an address",
		"host":                            "has no scheme",
		"tcp:127.0.0.1":                   "is not an address",
		"tcp://":                          "has no host",
		"tcp://:502":                      "has no host",
		"tcp://127.0.0.1:0":               "want 1 to 65535",
		"tcp://127.0.0.1:65536":           "want 1 to 65535",
		"tcp://127.0.0.1/1":               "more than host and port",
		"tcp://127.0.0.1?unit=1":          "more than host and port",
		"tcp://me@127.0.0.1":              "is not an address",
		"tpc://127.0.0.1":                 "the nearest is tcp",
		"rtu://":                          "names no serial device",
		"rtu:///dev/ttyS0?baud=1":         "want 300 to 1000000",
		"rtu:///dev/ttyS0?stop=3":         "want 1 or 2",
		"rtu:///dev/ttyS0?bauds=9600":     "the nearest is baud",
		"rtu:///dev/ttyS0?baud=1&baud=2":  "given twice",
		"rtu:///dev/ttyS0?parity=%zz":     "is not readable",
		"rtu+tcp://192.0.2.20":            "want host:port",
		"tcp://2001:db8::1":               "in brackets",
		"tcp://" + strings.Repeat("[", 9): "is not an address",
	} {
		_, err := ParseAddress(s)
		assert.ErrorContains(t, err, want, s)
	}
}
