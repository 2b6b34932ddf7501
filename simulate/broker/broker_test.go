package broker

import (
	"net"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

func TestCarriesAMessageAndEnds(t *testing.T) {
	b, err := Listen("127.0.0.1:0")
	require.NoError(t, err)
	got := make(chan string, 1)
	c := paho.NewClient(paho.NewClientOptions().AddBroker(strings.Replace(b.URL(), "mqtt", "tcp", 1)).SetClientID("reader").SetAutoReconnect(false))
	done := func(token paho.Token) {
		t.Helper()
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	done(c.Connect())
	done(c.Subscribe("a/b", 1, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }))
	done(c.Publish("a/b", 1, false, "water"))
	require.Equal(t, "water", <-got)
	c.Disconnect(0)
	require.NoError(t, b.Close())
	_, err = net.Dial("tcp", b.door.Addr().String())
	require.Error(t, err)
}

func TestStaysOnTheLoopback(t *testing.T) {
	_, err := Listen("0.0.0.0:0")
	require.ErrorContains(t, err, "stays on the loopback")
	_, err = Listen("nowhere")
	require.ErrorContains(t, err, "use host:port")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	_, err = Listen(l.Addr().String())
	require.ErrorContains(t, err, "cannot listen for MQTT")
}
