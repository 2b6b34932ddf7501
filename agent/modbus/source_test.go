package modbus

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The agent only watches. In the package's own source no write of the client
// library is named, no writing function code is spelt, and nothing exported
// sounds like a way to change an instrument.
func TestNoWritePath(t *testing.T) {
	library := regexp.MustCompile(`^(Write(Single|Multiple)|MaskWrite|ReadWrite|FuncCode|ReadFIFO)`)
	exported := regexp.MustCompile(`(?i)write|force|preset|command|store`)
	entries, err := os.ReadDir(".")
	require.NoError(t, err)
	seen := 0
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		seen++
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, e.Name(), nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			id, ok := n.(*ast.Ident)
			if !ok {
				return true
			}
			at := set.Position(id.Pos())
			assert.False(t, library.MatchString(id.Name), "%s: %s: an instrument is only ever read", at, id.Name)
			if id.IsExported() && id.Name != "Write" { // net.Conn's Write carries the requests
				assert.False(t, exported.MatchString(id.Name), "%s: %s: an instrument is only ever read", at, id.Name)
			}
			return true
		})
	}
	assert.Greater(t, seen, 5, "the test found the source")
}

// Of all 128 function codes only the four reads pass the transport's gate, and only
// in the form of a read.
func TestOnlyReadsPass(t *testing.T) {
	for code := range 256 {
		frame := []byte{0, 1, 0, 0, 0, 6, 1, byte(code), 0, 0, 0, 1}
		assert.Equal(t, code >= 1 && code <= 4, readOnly(frame[7:]), "function code %d", code)
		assert.False(t, readOnly(append(frame[7:], 0)), "function code %d with more data", code)
		assert.False(t, readOnly(frame[7:11]), "function code %d cut short", code)
	}
}
