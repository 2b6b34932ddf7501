package journal

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
)

// BenchmarkRecord is what the loop pays for the record.
func BenchmarkRecord(b *testing.B) {
	j := open(b, Settings{Folder: b.TempDir(), Trailer: "T-100"})
	seq := uint64(0)
	for b.Loop() {
		seq++
		j.Record(calmScan(seq))
	}
}

// BenchmarkDay is the trend of two signals over 24 hours of scans every second.
func BenchmarkDay(b *testing.B) {
	j := open(b, Settings{Folder: b.TempDir(), Trailer: "T-100"})
	const day = 86400
	for j.Committed() < day-100 {
		drive(b, j, 2000-j.Committed()%2000)
		last := calmScan(j.queue.last + 1)
		last.Estimated = true
		j.Record(last)
		waitFor(b, j, last.Seq)
	}
	j = reopen(b, j)
	require.Greater(b, j.Committed(), uint64(day-100))
	for b.Loop() {
		_, err := j.Range(context.Background(), epochStart, epochStart+int64(25*time.Hour), signal.ProductConductivity, signal.Flow)
		require.NoError(b, err)
	}
	b.ReportMetric(float64(j.Health().Size)/float64(j.Committed()), "bytes/scan")
}
