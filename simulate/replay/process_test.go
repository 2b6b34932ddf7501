package replay

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkReplayProcess measures whole processes, start-up, reading the file and all: the real binary with all rules over
// three million rows of six columns, against a Go program of encoding/csv with only the ten-minute timer and a gawk script
// with only the timer, where gawk is there (in the C locale too, which is faster). It prints the ratios. All read the same
// file, in turn, once to warm the file cache before that; of each the fastest run counts, since a run is only ever made
// slower from outside.
func BenchmarkReplayProcess(b *testing.B) {
	dir := b.TempDir()
	file := filepath.Join(dir, "recording.csv")
	require.NoError(b, os.WriteFile(file, recording(3_000_000), 0o600))
	sim, plain := build(b, dir, "sim", "../../cmd/ionward-sim"), build(b, dir, "plain", "./testdata/tenminutes")
	runs := map[string]*exec.Cmd{
		"all":   exec.Command(sim, "replay", "--format", "jsonl", file),
		"csv":   exec.Command(plain, file),
		"reuse": exec.Command(plain, "-reuse", file),
	}
	if gawk, err := exec.LookPath("gawk"); err == nil {
		runs["gawk"] = exec.Command(gawk, "-f", "testdata/tenminutes.awk", file)
		runs["gawk_C"] = exec.Command(gawk, "-f", "testdata/tenminutes.awk", file)
		runs["gawk_C"].Env = append(os.Environ(), "LC_ALL=C")
	}
	best := map[string]time.Duration{}
	for b.Loop() {
		for name, command := range runs {
			again := exec.Command(command.Path, command.Args[1:]...)
			again.Env = command.Env
			start := time.Now()
			out, err := again.Output()
			spent := time.Since(start)
			require.NoError(b, err, name)
			require.Contains(b, string(out), "833", name) // all see the same excursions of ten minutes
			if best[name] == 0 || spent < best[name] {
				best[name] = spent
			}
		}
	}
	for name, spent := range best {
		b.ReportMetric(spent.Seconds()/best["all"].Seconds(), "x_"+name)
	}
	b.ReportMetric(float64(best["all"].Nanoseconds())/3e6, "all_ns/row")
}

// build makes a program.
func build(b *testing.B, dir, name, folder string) string {
	path := filepath.Join(dir, name)
	out, err := exec.Command("go", "build", "-o", path, folder).CombinedOutput()
	require.NoError(b, err, strings.TrimSpace(string(out)))
	return path
}
