package instruments_test

import (
	"math"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	client "github.com/goburrow/modbus"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"ionward/simulate/instruments"
	"ionward/simulate/plant"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// bench is a plant with its instruments on a free port of the loopback.
type bench struct {
	mu     sync.Mutex
	plant  *plant.Plant
	server *instruments.Server
}

func newBench(t *testing.T) *bench {
	t.Helper()
	p, err := plant.New(plant.Defaults())
	require.NoError(t, err)
	b := &bench{plant: p}
	b.server, err = instruments.Listen(instruments.Settings{Listen: "127.0.0.1:0"}, b.truth)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.server.Close()) })
	return b
}

func (b *bench) truth() plant.Truth {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.plant.Truth()
}

func (b *bench) do(act func(*plant.Plant)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	act(b.plant)
}

// dial connects another author's stock client to one unit id.
func (b *bench) dial(t *testing.T, unit byte) client.Client {
	t.Helper()
	h := client.NewTCPClientHandler(b.server.Address())
	h.SlaveId, h.Timeout = unit, 10*time.Second
	require.NoError(t, h.Connect())
	t.Cleanup(func() { _ = h.Close() })
	return client.NewClient(h)
}

func f32(b []byte) float64 {
	return float64(math.Float32frombits(uint32(b[0])<<24 | uint32(b[1])<<16 | uint32(b[2])<<8 | uint32(b[3])))
}

// need skips a test where an outside program is missing, and fails it where nothing may be skipped.
func need(t *testing.T, name string, probe ...string) {
	t.Helper()
	if err := exec.Command(name, probe...).Run(); err != nil {
		if os.Getenv("IONWARD_NO_SKIP") != "" {
			require.NoError(t, err, "%s is needed here", name)
		}
		t.Skipf("%s cannot be used here: %v", name, err)
	}
}
