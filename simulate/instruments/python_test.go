package instruments_test

import (
	"encoding/json"
	"errors"
	"net"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/simulate/plant"
)

// Debian's python, not one that happens to come first in the path: python3-pymodbus installs for that.
const python = "/usr/bin/python3"

// stub stands in for the serial modules that pymodbus imports but does not need over TCP.
const stub = `
import sys, types
for name in ("serial", "serial_asyncio"):
    try:
        __import__(name)
    except ImportError:
        m = types.ModuleType(name)
        m.create_serial_connection = None
        sys.modules[name] = m
from pymodbus.client import ModbusTcpClient
`

const script = stub + `
import json, struct
c = ModbusTcpClient(sys.argv[1], port=int(sys.argv[2]), timeout=10)
assert c.connect()
def regs(r):
    return r.registers if not r.isError() else -r.exception_code
def floats(r):
    return list(struct.unpack(">%df" % (len(r) // 2), struct.pack(">%dH" % len(r), *r)))
out = {
    "analyzer": floats(regs(c.read_holding_registers(0, 8, slave=1))),
    "meter": floats(regs(c.read_input_registers(0, 4, slave=2))),
    "bits": [int(b) for b in c.read_discrete_inputs(0, 9, slave=3).bits[:9]],
    "two": [len(regs(c.read_holding_registers(0, 2, slave=u))) for u in (1, 2, 3)],
    "nobody": regs(c.read_holding_registers(0, 2, slave=9)),
    "beyond": regs(c.read_holding_registers(100, 2, slave=1)),
    "write": c.write_register(0, 1, slave=1).exception_code,
    "coil": c.write_coil(1, True, slave=3).exception_code,
}
c.close()
print(json.dumps(out))
`

// The simulated unit as another author's client in another language reads it.
func TestPython(t *testing.T) {
	need(t, python, "-c", stub)
	b := newBench(t)
	b.do(func(p *plant.Plant) { p.Step(time.Hour) })
	host, port, err := net.SplitHostPort(b.server.Address())
	require.NoError(t, err)
	text, err := exec.CommandContext(t.Context(), python, "-c", script, host, port).Output()
	var failed *exec.ExitError
	if errors.As(err, &failed) {
		t.Log(string(failed.Stderr))
	}
	require.NoError(t, err)
	var got struct {
		Analyzer, Meter []float64
		Bits, Two       []int
		Nobody, Beyond  int
		Write, Coil     int
	}
	require.NoError(t, json.Unmarshal(text, &got))
	now := b.truth()
	assert.InDeltaSlice(t, []float64{
		now.Readings.FeedConductivity, now.Readings.ProductConductivity, now.Readings.FeedTemperature, now.Readings.ProductTemperature,
	}, got.Analyzer, 1e-4)
	assert.InDeltaSlice(t, []float64{139, 139 * 60}, got.Meter, 60)
	assert.Equal(t, []int{1, 0, 1, 0, 1, 0, 0, 0, 1}, got.Bits)
	assert.Equal(t, []int{2, 2, 2}, got.Two)
	assert.Equal(t, []int{-0x0B, -0x02, 0x01, 0x01}, []int{got.Nobody, got.Beyond, got.Write, got.Coil})
}
