package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules/signal"
)

// unit writes a unit file beside the device at an address.
func unit(t *testing.T, instruments string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "unit.yaml")
	require.NoError(t, os.WriteFile(file, []byte("trailer: T-09\ninstruments:\n"+instruments), 0o600))
	return file
}

// Every sort of source: a float, a loop current, pulses and a contact, and two settings of the instrument.
func TestCheckLiveShowsEverySource(t *testing.T) {
	b := &bench{words: map[uint16]uint16{
		0: 0x3F26, 1: 0x9506, // 0.6507
		2: 12000, 3: 0, // uA
		4: 0, 5: 700,
		8:  1,
		40: 0x3DCC, 41: 0xCCCD, // 0.1
		42: 600,
	}}
	file := unit(t, `  analyzer:
    address: `+b.serve(t)+`
    signals:
      product_conductivity: {register: 0}
      feed_conductivity: {register: 2, type: u16, scale: 0.001, current: {from: 0, to: 1000}}
      flow: {register: 4, type: u32, pulse: {k: 10, per: gal}}
      total: {register: 4, type: u32, pulse: {k: 10, per: gal}}
      control_power: {register: 8, kind: coil}
    settings:
      cell_constant: {register: 40, value: 0.1}
      relay_delay: {register: 42, type: u16, value: 600}
`)
	status, out, errOut := ionward(t, "check", "--live", file)
	require.Zero(t, status, errOut+out)
	for _, want := range []string{
		`product_conductivity +0\.6510 uS/cm +good\n    one count is 0\.001 uS/cm, 0\.1 % of the endpoint\n`,
		`feed_conductivity +500 uS/cm +good\n    one count is 0\.0625 uS/cm\n`,
		`flow +0 m3/h +good\n    one count is 0\.136 m3/h\n`,
		`total +0\.2650 m3 +good\n`,
		`control_power +1 +good\n`,
		`setting cell_constant: 0\.1 as commissioned\n`,
		`setting relay_delay: 600 as commissioned\n`,
		`ms, 2 requests, \d+ bytes, every 1s\n`,
		`all 7 good\n`,
	} {
		assert.Regexp(t, want, out)
	}
	_, body, _ := strings.Cut(out, "\n") // the first line is that of check
	narrow(t, body)
}

func TestCheckLiveFailsWhereAnythingIsNotGood(t *testing.T) {
	b := &bench{words: map[uint16]uint16{0: 0x9506, 1: 0x3F26, 2: 3700, 40: 5}}
	at := b.serve(t)
	file := unit(t, `  analyzer:
    address: `+at+`
    signals:
      product_conductivity: {register: 0}
      feed_conductivity: {register: 2, type: u16, scale: 0.001, current: {from: 0, to: 1000}, low: 0}
    settings:
      cell_constant: {register: 40, type: u16, value: 6}
      range: {register: 50, type: u16, value: 6}
  nobody:
    address: tcp://127.0.0.1:1
    signals: {flow: {register: 0}}
`)
	status, out, errOut := ionward(t, "check", "--live", file)
	assert.Equal(t, 1, status)
	assert.Contains(t, errOut, "5 not good of 5 looked at")
	for _, want := range []string{
		`product_conductivity +- +bad\n    because: \w+`, "see: ionward probe " + at, "--unit 1 --kind holding --registers 0-5",
		`feed_conductivity +0 uS/cm +uncertain\n    because: out of span`, `flow +- +none\n    because: link down`, "connection refused",
		`setting cell_constant: 5\n    commissioned with 6`, `setting range: cannot be read\n +exception 02`,
	} {
		assert.Regexp(t, want, out)
	}
	_, body, _ := strings.Cut(out, "\n")
	narrow(t, body)
}

// The budget of a line agrees with the published floor: at 9600 bit/s two registers take 27.5 ms, 125 take 309.4 ms.
func TestLinesAreBudgeted(t *testing.T) {
	const at = "rtu:///dev/ttyS9?baud=9600&parity=even"
	look := func(every, took time.Duration, fault error, quantities ...uint16) poll.Look {
		l := poll.Look{Instrument: poll.Instrument{Address: at, Every: every}, Took: took, Fault: fault}
		for _, q := range quantities {
			l.Requests = append(l.Requests, modbus.Request{UnitID: 1, Kind: modbus.Holding, Quantity: q})
		}
		return l
	}
	line, err := modbus.ParseAddress(at)
	require.NoError(t, err)
	floor, taken := load([]poll.Look{
		look(time.Second, 60*time.Millisecond, nil, 2), look(2*time.Second, 500*time.Millisecond, nil, 125, 2),
		look(time.Second, time.Second, errors.New("silent"), 2),
		{Instrument: poll.Instrument{Address: "tcp://192.0.2.1:502", Every: time.Second}, Took: time.Second},
	}, line)
	assert.InDelta(t, 2*0.0275+(0.3094+0.0275)/2, floor, 0.0002)
	assert.InDelta(t, 0.06+0.25, taken, 1e-9)

	for name, c := range map[string]struct {
		looks []poll.Look
		want  string
		never string
		wrong int
	}{
		"quiet": {[]poll.Look{look(time.Second, 50*time.Millisecond, nil, 2)}, "at best 3 % of its time, now 5 %", "over 70 %", 0},
		"busy":  {[]poll.Look{look(time.Second, 800*time.Millisecond, nil, 125, 125)}, "over 70 %: no room", "xx", 0},
		"full":  {[]poll.Look{look(500*time.Millisecond, 900*time.Millisecond, nil, 125)}, "at best 62 % of its time, now 180 %", "xx", 1},
	} {
		var out bytes.Buffer
		l := &liveReport{out: &out}
		l.lines(c.looks)
		assert.Contains(t, out.String(), c.want, name)
		assert.NotContains(t, out.String(), c.never, name)
		assert.Equal(t, c.wrong, l.wrong, name)
		narrow(t, out.String())
	}
	var out bytes.Buffer
	(&liveReport{out: &out}).lines([]poll.Look{{Instrument: poll.Instrument{Address: "rtu+tcp://192.0.2.1:4001", Every: time.Second}}})
	assert.Contains(t, out.String(), "speed not known")
	narrow(t, out.String())
}

// What a count means, worked by hand.
func TestCounts(t *testing.T) {
	gpm, _ := signal.ParseUnit("gpm")
	ohm, _ := signal.ParseUnit("MOhm.cm")
	for want, s := range map[float64]poll.Signal{
		0.01:     {ID: signal.ProductConductivity, Type: modbus.U16, Scale: 0.01},
		0.2271:   {ID: signal.Flow, Type: modbus.U16, Unit: gpm},
		0.0909:   {ID: signal.ProductConductivity, Type: modbus.U16, Scale: 0.1, Unit: ohm}, // at 1 uS/cm: 1/1 - 1/1.1
		0.002442: {ID: signal.ProductConductivity, Type: modbus.U16, Scale: 16.0 / 4095, Offset: 4, Current: poll.Current{On: true, To: 10}},
		0.36:     {ID: signal.Flow, Type: modbus.U32, Pulse: poll.Pulse{PerM3: 1000, Window: 10 * time.Second}},
		0.001:    {ID: signal.ProductConductivity, Type: modbus.F32},
		0:        {ID: signal.BankA, Type: modbus.Bit},
	} {
		assert.InDelta(t, want, s.Step(1), want*0.001, "%s", s.ID)
	}
}
