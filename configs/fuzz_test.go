package configs

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var inFile = regexp.MustCompile(`^unit\.yaml:[1-9][0-9]*:[1-9][0-9]*: .`)

// lineEnd is a line end as YAML 1.1 knows it, more than \n alone.
var lineEnd = regexp.MustCompile("\r\n|[\r\n\u0085\u2028\u2029]")

// FuzzLoad: whatever the text and the override, nothing panics, a fault says where, and a place lies in the text.
func FuzzLoad(f *testing.F) {
	paths, err := filepath.Glob("testdata/faults/*.yaml")
	require.NoError(f, err)
	more, err := filepath.Glob("*.yaml")
	require.NoError(f, err)
	for _, path := range slices.Concat(paths, more) {
		data, err := os.ReadFile(path)
		require.NoError(f, err)
		f.Add(data, "off_spec.delay=5m")
	}
	for _, set := range []string{"", "=", "a.b", ".=1", "..=", "instruments.a.signals.flow.sentinel=[,", "off_spec=", "mqtt.broker=mqtt://[", "journal.quota=9e99 TiB"} {
		f.Add([]byte(least), set)
	}
	f.Fuzz(func(t *testing.T, data []byte, set string) {
		last := 1 + len(lineEnd.FindAllIndex(data, -1))
		for _, purpose := range []Purpose{ForRule, ForRun} {
			file, err := Load("unit.yaml", data, []string{set}, purpose)
			var faults Faults
			switch {
			case err == nil:
				require.Empty(t, file.Rule.Check())
				require.True(t, purpose == ForRule || file.Trailer != "" && len(file.Instruments) > 0)
				faults = file.Warnings
			default:
				require.True(t, errors.As(err, &faults))
				require.NotEmpty(t, faults)
			}
			for _, fault := range faults {
				text := fault.String()
				require.True(t, inFile.MatchString(text) || strings.HasPrefix(text, "--set "), text)
				require.NotEmpty(t, fault.What)
				require.LessOrEqual(t, fault.Line, last, text)
			}
		}
	})
}
