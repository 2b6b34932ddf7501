package journal

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/signal"
)

// outside opens the file as another program would.
func outside(t *testing.T, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", dsn(path, []string{"busy_timeout(5000)"}))
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	t.Cleanup(func() { _ = db.Close() })
	return db
}

func alter(t *testing.T, db *sql.DB, query string, args ...any) {
	t.Helper()
	_, err := db.Exec(query, args...)
	require.NoError(t, err)
}

func path(set Settings) string { return filepath.Join(set.Folder, fileName) }

func TestMovesADamagedOrForeignFileAside(t *testing.T) {
	cases := map[string]func(t *testing.T, path string){
		"text instead of a database": func(t *testing.T, path string) {
			require.NoError(t, os.WriteFile(path, []byte("not a journal\n"), 0o600))
		},
		"another program's database": func(t *testing.T, path string) {
			require.NoError(t, os.Remove(path))
			db := outside(t, path)
			alter(t, db, "CREATE TABLE tea(kind TEXT)")
			require.NoError(t, db.Close())
		},
		"another trailer's journal": func(t *testing.T, path string) {
			db := outside(t, path)
			alter(t, db, "UPDATE meta SET value = 'T-200' WHERE key = 'trailer'")
			require.NoError(t, db.Close())
		},
		"pages overwritten": func(t *testing.T, path string) {
			b, err := os.ReadFile(path)
			require.NoError(t, err)
			for i := pageSize; i < len(b); i++ {
				b[i] = 0xA5
			}
			require.NoError(t, os.WriteFile(path, b, 0o600))
		},
		"cut short": func(t *testing.T, path string) {
			require.NoError(t, os.Truncate(path, 3*pageSize))
		},
		"checkpoint altered": func(t *testing.T, path string) {
			db := outside(t, path)
			alter(t, db, "UPDATE checkpoint SET body = replace(body, '\"trips\":', '\"trips\":1')")
			require.NoError(t, db.Close())
		},
		"file gone, log left": func(t *testing.T, path string) {
			require.NoError(t, os.Remove(path))
			require.NoError(t, os.WriteFile(path+"-wal", []byte("left over"), 0o600))
		},
	}
	for name, damage := range cases {
		t.Run(name, func(t *testing.T) {
			set := settings(t)
			j := open(t, set)
			epoch := j.Epoch()
			drive(t, j, 200)
			j.SetCursor("mqtt", epoch, 100)
			require.NoError(t, j.Close())
			damage(t, path(set))
			before := content(t, set.Folder)

			j = open(t, set)
			require.NotEqual(t, epoch, j.Epoch(), "a new file is a new epoch")
			last, ok := j.Last()
			require.False(t, ok)
			require.Zero(t, last.Seq)
			h := j.Health()
			require.Len(t, h.Aside, 1)
			require.Contains(t, h.LastError, "moved aside")
			_, seq, err := j.Cursor("mqtt")
			require.NoError(t, err)
			require.Zero(t, seq, "a publisher begins anew")
			moved, err := os.ReadFile(h.Aside[0])
			require.NoError(t, err)
			require.Contains(t, h.Aside[0], ".damaged-")
			require.True(t, slices.Contains(before, string(moved)), "never deleted or altered")
			drive(t, j, 50)
			j = reopen(t, j)
			restep(t, j)
			require.Empty(t, j.Health().Aside, "the new file is sound")
		})
	}
}

// content gives all that the journal's own files hold.
func content(t *testing.T, folder string) []string {
	t.Helper()
	var out []string
	for _, suffix := range suffixes {
		if b, err := os.ReadFile(filepath.Join(folder, fileName+suffix)); err == nil {
			out = append(out, string(b))
		}
	}
	return out
}

func TestLeavesALaterProgramsFileAlone(t *testing.T) {
	for what, change := range map[string]string{
		"later program":    "PRAGMA user_version = 99",
		"does not know":    "INSERT INTO word(kind, id, text) VALUES('signal', 900, 'resin_level 0.1 mm')",
		"not know: read i": "UPDATE word SET text = 'flow 0.5 buckets' WHERE text LIKE 'flow %'",
	} {
		set := settings(t)
		require.NoError(t, open(t, set).Close())
		db := outside(t, path(set))
		alter(t, db, change)
		require.NoError(t, db.Close())
		_, err := Open(set)
		require.ErrorContains(t, err, what)
		moved, err := filepath.Glob(filepath.Join(set.Folder, "*damaged*"))
		require.NoError(t, err)
		require.Empty(t, moved)
	}
}

func TestReplacesAFileThatBreaksWhileItIsOpen(t *testing.T) {
	j := open(t, settings(t))
	epoch := j.Epoch()
	drive(t, j, 100)
	waitFor(t, j, 90)
	j.suspect <- errDamaged // what the background check of a large file reports
	drive(t, j, 0)
	require.Eventually(t, func() bool { return j.Epoch() != epoch }, waitLimit, pollEvery)
	e := calmScan(101)
	e.Estimated = true
	j.Record(e)
	waitFor(t, j, 101)
	require.Len(t, j.Health().Aside, 1)
	entries := all(t, j)
	require.Equal(t, uint64(101), entries[len(entries)-1].Seq, "sequence numbers go on")
	require.Equal(t, j.Epoch(), entries[0].Epoch)
}

func TestLeavesOutADamagedEntryAndSaysSo(t *testing.T) {
	set := settings(t)
	j := open(t, set)
	drive(t, j, 300)
	require.NoError(t, j.Close())
	db := outside(t, path(set))
	alter(t, db, "UPDATE entry SET body = cast(substr(body, 1, 5) || x'00' || substr(body, 7) AS BLOB) WHERE seq BETWEEN 50 AND 180")
	alter(t, db, "UPDATE event SET body = replace(body, 'at', 'ta') WHERE seq = (SELECT max(seq) FROM event)")
	require.NoError(t, db.Close())
	j = open(t, set)
	entries := all(t, j)
	require.Len(t, entries, 300-131, "a whole batch of damage is not the end")
	for _, e := range entries {
		require.False(t, e.Seq >= 50 && e.Seq <= 180)
	}
	require.GreaterOrEqual(t, j.Health().Damaged, uint64(132))
	require.Contains(t, j.Health().LastError, "damaged")
}

func TestReadsNumbersByTheirNames(t *testing.T) {
	set := settings(t)
	j := open(t, set)
	drive(t, j, 100)
	want := func() []signal.Set {
		var out []signal.Set
		for _, e := range all(t, j) {
			out = append(out, e.Readings)
		}
		return out
	}
	j = reopen(t, j)
	before := want()
	require.NoError(t, j.Close())
	// A program that measured flow in tenths wrote under another number; this one adds its own word and reads both.
	db := outside(t, path(set))
	id := signal.Flow.Info()
	alter(t, db, "UPDATE word SET text = ? WHERE text = ?", strings.Replace(signalText(signal.Flow), "1e-05", "0.1", 1), signalText(signal.Flow))
	require.NoError(t, db.Close())
	j = open(t, set)
	after := want()
	for i := range after {
		n := signal.Counts(before[i][signal.Flow].Value, id.Resolution)
		before[i][signal.Flow].Value = signal.Value(n, 0.1)
	}
	require.Equal(t, before, after)
	e := calmScan(101)
	e.Estimated = true
	e.Readings[signal.Flow] = signal.Flow.Default(12.34567, signal.Good)
	record := e.Readings
	j.Record(e)
	waitFor(t, j, 101)
	entries, err := j.Entries(context.Background(), 100, 1)
	require.NoError(t, err)
	require.Equal(t, record, entries[0].Readings)
}

func TestDoesNotTakeUpAStateOfAnotherShape(t *testing.T) {
	require.True(t, fits(shape()))
	lists := strings.Split(shape(), "\n")
	require.False(t, fits(strings.Join(lists[1:], "\n")))
	cut := strings.LastIndex(lists[0], ",")
	grown := append([]string{lists[0][:cut]}, lists[1:]...)
	require.True(t, fits(strings.Join(grown, "\n")), "a list that grew at its end keeps its numbers")
	set := settings(t)
	j := open(t, set)
	drive(t, j, 30)
	require.NoError(t, j.Close())
	db := outside(t, path(set))
	alter(t, db, "UPDATE checkpoint SET shape = 'feed_conductivity'")
	require.NoError(t, db.Close())
	j = open(t, set)
	last, ok := j.Last()
	require.False(t, ok)
	require.Equal(t, rules.State{}, last.State)
	require.Equal(t, uint64(30), last.Seq, "numbers go on all the same")
	require.Contains(t, j.Health().LastError, "starts anew")
}
