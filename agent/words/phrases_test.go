package words

import (
	"fmt"
	"github.com/stretchr/testify/require"
	"ionward/rules"
	"testing"
)

func TestX(t *testing.T) {
	p, err := Load("en")
	require.NoError(t, err)
	fmt.Println(p.Why(rules.Reason{Code: rules.OffSpec, Value: 1.5, Limit: 1}))
}
