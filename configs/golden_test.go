package configs

import (
	"bufio"
	"bytes"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the messages seen into testdata/faults/*.want; read them before keeping them")

// header reads what a golden file says about itself: # set: PATH=VALUE (any number) and # purpose: rule (else run).
func header(data []byte) (sets []string, purpose Purpose) {
	purpose = ForRun
	for lines := bufio.NewScanner(bytes.NewReader(data)); lines.Scan(); {
		if set, ok := strings.CutPrefix(lines.Text(), "# set: "); ok {
			sets = append(sets, set)
		}
		if lines.Text() == "# purpose: rule" {
			purpose = ForRule
		}
	}
	return sets, purpose
}

func TestFaultsAreReportedInOneRun(t *testing.T) {
	files, err := filepath.Glob("testdata/faults/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".yaml"), func(t *testing.T) {
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			sets, purpose := header(data)
			file, err := Load(filepath.Base(path), data, sets, purpose)
			require.Error(t, err)
			assert.Nil(t, file)
			var faults Faults
			require.True(t, errors.As(err, &faults))

			want := strings.TrimSuffix(path, ".yaml") + ".want"
			if *update {
				require.NoError(t, os.WriteFile(want, []byte(err.Error()+"\n"), 0o644))
			}
			golden, err := os.ReadFile(want)
			require.NoError(t, err)
			assert.Equal(t, strings.Split(string(golden), "\n"), strings.Split(faults.Error()+"\n", "\n"))
			assert.NotContains(t, faults.Error(), "hunter2", "a message repeats a password")
		})
	}
}
