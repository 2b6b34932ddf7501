package modbus

import (
	"context"
	"fmt"
	"io"
	"log"
	"math"
	"net"
	"testing"
	"time"

	server "github.com/simonvetter/modbus"
	"github.com/stretchr/testify/require"
)

// desk answers for two units on another author's server: unit 1 has registers,
// unit 2 has bits; anything beyond is refused.
type desk struct{ registers []uint16 }

func (d desk) slice(unit uint8, address, quantity uint16) ([]uint16, error) {
	if unit != 1 {
		return nil, server.ErrGWTargetFailedToRespond
	}
	if int(address)+int(quantity) > len(d.registers) {
		return nil, server.ErrIllegalDataAddress
	}
	return d.registers[address : address+quantity], nil
}

func (d desk) HandleHoldingRegisters(r *server.HoldingRegistersRequest) ([]uint16, error) {
	return d.slice(r.UnitId, r.Addr, r.Quantity)
}

func (d desk) HandleInputRegisters(r *server.InputRegistersRequest) ([]uint16, error) {
	return d.slice(r.UnitId, r.Addr, r.Quantity)
}

func (d desk) HandleCoils(r *server.CoilsRequest) ([]bool, error) {
	return d.bits(r.UnitId, r.Addr, r.Quantity)
}

func (d desk) HandleDiscreteInputs(r *server.DiscreteInputsRequest) ([]bool, error) {
	return d.bits(r.UnitId, r.Addr, r.Quantity)
}

func (d desk) bits(unit uint8, address, quantity uint16) ([]bool, error) {
	if unit != 2 {
		return nil, server.ErrServerDeviceBusy
	}
	all := make([]bool, quantity)
	for i := range all {
		all[i] = (int(address)+i)%3 == 0
	}
	return all, nil
}

// serve starts the server on a free port. It cannot tell its port, so one is
// picked first; should another program take it meanwhile, the next is tried.
func (d desk) serve(t *testing.T) string {
	for range 20 {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		address := l.Addr().String()
		l.Close()
		s, err := server.NewServer(&server.ServerConfiguration{
			URL: "tcp://" + address, Timeout: time.Minute, MaxClients: 1, Logger: log.New(io.Discard, "", 0),
		}, d)
		require.NoError(t, err)
		if s.Start() == nil {
			t.Cleanup(func() { _ = s.Stop() })
			return address
		}
	}
	t.Fatal("no free port")
	return ""
}

// Another author's server, one client only: values of several types, bits and
// refusals come through the whole path of plan, link and codec.
func TestReadsAnotherServer(t *testing.T) {
	f32 := math.Float32bits(0.055)
	f64 := math.Float64bits(-12.5)
	d := desk{registers: []uint16{
		uint16(f32 >> 16), uint16(f32), 0, 0xFFFE, // 0: f32, 3: i16
		uint16(f64), uint16(f64 >> 16), uint16(f64 >> 32), uint16(f64 >> 48), // 4: f64 CDAB
		0x0020, // 8: bit 5
	}}
	link := Open(Settings{Address: d.serve(t), Timeout: 30 * time.Second})
	defer link.Close()
	values := []Value{{Type: F32}, {Type: I16, Scale: 0.5}, {Type: F64, Order: CDAB}, {Type: Bit + 5}}
	want := []float64{float64(float32(0.055)), -1, -12.5, 1}
	for _, kind := range []Kind{Holding, Input} {
		var places []Request
		for i, at := range []uint16{0, 3, 4, 8} {
			places = append(places, Request{UnitID: 1, Kind: kind, Address: at, Quantity: values[i].Size(kind)})
		}
		plan, err := NewPlan(places, Limits{Gap: 1})
		require.NoError(t, err)
		require.Len(t, plan.Blocks(), 1)
		b := plan.Blocks()[0]
		data, err := link.Read(context.Background(), b.Request)
		require.NoError(t, err)
		for _, place := range b.Places {
			x, cause := values[place.Index].Pick(kind, data, place.Offset)
			require.Equal(t, OK, cause)
			require.Equal(t, want[place.Index], x, fmt.Sprint(values[place.Index]))
		}
	}
	for _, kind := range []Kind{Coil, Discrete} {
		data, err := link.Read(context.Background(), Request{UnitID: 2, Kind: kind, Address: 5, Quantity: 20})
		require.NoError(t, err)
		for i := range 20 {
			x, cause := Value{Type: Bit}.Pick(kind, data, i)
			require.Equal(t, OK, cause)
			require.Equal(t, (5+i)%3 == 0, x == 1)
		}
	}
	for want, r := range map[byte]Request{
		IllegalAddress: {UnitID: 1, Kind: Holding, Address: 9, Quantity: 1},
		GatewayTarget:  {UnitID: 7, Kind: Input, Address: 0, Quantity: 1},
		Busy:           {UnitID: 7, Kind: Coil, Address: 0, Quantity: 1},
	} {
		_, err := link.Read(context.Background(), r)
		require.Truef(t, match(err, &Exception{want}), "%v", err)
	}
}
