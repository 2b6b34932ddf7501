package journal

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/rules"
)

// childFolder names the variable that makes the test binary record into a folder until it is killed.
const childFolder = "IONWARD_JOURNAL_TEST_CHILD"

// child records without end and prints each sequence number once the disk has it.
func child(folder string) {
	j, err := Open(Settings{Folder: folder, Trailer: "T-100"})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	last, again := j.Last()
	go func() {
		for printed := last.Seq; ; {
			changed := j.Changed()
			for to := j.Committed(); printed < to; {
				printed++
				fmt.Println(printed)
			}
			<-changed
		}
	}()
	src := &behind{made{seq: last.Seq, until: 1 << 40, estimated: again}, j}
	loop := agent.Loop{Trailer: "T-100", Settings: fast(), Source: src, State: last.State, Epoch: last.Epoch, Seq: last.Seq, Journal: j}
	fmt.Println(loop.Run(context.Background()))
}

// behind lets the disk set the pace, so that the queue never fills.
type behind struct {
	made
	j *Journal
}

func (b *behind) Next(ctx context.Context, within time.Duration, in *rules.Input) error {
	for {
		changed := b.j.Changed() // asked for first, so that no commit is missed
		if b.seq <= b.j.Committed()+64 {
			break
		}
		<-changed
	}
	return b.made.Next(ctx, within, in)
}

func TestKilledAtAnyMomentLosesNothingCommitted(t *testing.T) {
	folder := t.TempDir()
	rounds := 8
	if testing.Short() {
		rounds = 3
	}
	epoch := ""
	acknowledged := uint64(0)
	for round := range rounds {
		seq := killed(t, folder, 30+rand.IntN(400))
		acknowledged = max(acknowledged, seq)
		j := open(t, Settings{Folder: folder, Trailer: "T-100"})
		if round == 0 {
			epoch = j.Epoch()
		}
		require.Equal(t, epoch, j.Epoch(), "a kill must not cost the epoch: %v", j.Health().LastError)
		require.GreaterOrEqual(t, j.Committed(), acknowledged, "round %d: what was printed must be there", round)
		restep(t, j)
		require.NoError(t, j.Close())
	}
	require.Positive(t, acknowledged)
}

// killed lets a child record and kills it some time after it has printed lines numbers; it gives the last one printed.
func killed(t *testing.T, folder string, lines int) (seq uint64) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), childFolder+"="+folder)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	scanner := bufio.NewScanner(out)
	first := uint64(0)
	for n := 0; scanner.Scan(); n++ {
		got, err := strconv.ParseUint(scanner.Text(), 10, 64)
		require.NoError(t, err, "the child says: %s", scanner.Text())
		if first == 0 {
			first = got
		}
		require.Equal(t, first+uint64(n), got, "printed without a gap")
		seq = got
		if n == lines {
			// Some spins later, so that the kill falls anywhere in a transaction.
			for end := time.Now().Add(time.Duration(rand.IntN(3000)) * time.Microsecond); time.Now().Before(end); {
			}
			require.NoError(t, cmd.Process.Kill())
		}
	}
	require.Error(t, cmd.Wait(), "killed")
	return seq
}
