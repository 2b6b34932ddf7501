package screen

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func get(t *testing.T, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w
}

func TestEveryAnswerCarriesTheHeaders(t *testing.T) {
	u := newUnit()
	u.run(1, time.Second)
	s := newScreen(t, u, nil)
	for _, path := range []string{"/", "/about", "/trend", "/healthz", "/sizes.css", "/assets/screen.css", "/assets/screen.js", "/assets/nothing.js", "/nowhere"} {
		h := get(t, s, path).Header()
		assert.Equal(t, policy, h.Get("Content-Security-Policy"), path)
		assert.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
		assert.Equal(t, "no-referrer", h.Get("Referrer-Policy"), path)
	}
	for _, part := range []string{"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "script-src 'self'", "style-src 'self'"} {
		assert.Contains(t, policy, part)
	}
	assert.NotContains(t, policy, "unsafe")
}

// Nothing inline, nothing from elsewhere: the policy would block it, on somebody else's screen.
func TestPagesHaveNothingInlineAndAskNobodyElse(t *testing.T) {
	u := newUnit()
	u.run(1, time.Second)
	s := newScreen(t, u, nil)
	for _, path := range []string{"/", "/about"} {
		page := get(t, s, path).Body.String()
		assert.NotRegexp(t, `(?i)\sstyle\s*=|<style|\son[a-z]+\s*=|javascript:`, page, path)
		assert.NotRegexp(t, `https?://`, page, path)
		for _, tag := range regexp.MustCompile(`<script[^>]*>`).FindAllString(page, -1) {
			assert.Contains(t, tag, "src=", path)
		}
	}
	require.NoError(t, fs.WalkDir(assets, "assets", func(name string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		if d.IsDir() {
			return nil
		}
		text, err := fs.ReadFile(assets, name)
		require.NoError(t, err)
		outside := strings.ReplaceAll(string(text), `xmlns="http://www.w3.org/2000/svg"`, "")
		assert.NotRegexp(t, `https?://|//[a-z]+\.[a-z]+/|@import`, outside, name)
		return nil
	}))
}

// The page is right before any script ran.
func TestFirstViewHasThePresentInIt(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	u.run(2, time.Second)
	u.analog(signal.ProductConductivity, 1.234)
	u.run(61, time.Second)
	page := get(t, s, "/").Body.String()
	for _, want := range []string{
		`lang="en"`, `data-tone="high"`, ">OFF SPEC<", "BAD WATER GOES TO THE USER. Product 1.234 uS/cm, limit 1.000 uS/cm.", ">9:00<",
		">612.4<", ">148<", ">1.234<", "<li>Tell the user of the water: 555-0142.</li>", "profile assumed",
		"endpoint 1.000 uS/cm, agreed by R. Okonjo, 3 Mar", "not true below 50 gpm", `id="line" d="M`,
	} {
		assert.Contains(t, page, want)
	}
}

func TestSimulationIsInEveryPage(t *testing.T) {
	u := newUnit()
	empty := newScreen(t, u, func(set *Settings) { set.Simulation = true })
	for _, path := range []string{"/", "/about"} {
		assert.Contains(t, get(t, empty, path).Body.String(), "<b>SIMULATION</b>", "before the first snapshot: "+path)
	}
	u.run(1, time.Second) // its snapshots say simulation
	told := newScreen(t, u, func(set *Settings) { set.Simulation = false })
	spanish := newScreen(t, u, func(set *Settings) { set.Phrases = phrases(t, "es") })
	for _, path := range []string{"/", "/about"} {
		assert.Contains(t, get(t, told, path).Body.String(), "<b>SIMULATION</b>", path)
		assert.Contains(t, get(t, spanish, path).Body.String(), "SIMULATION", path)
	}
	real := New(Settings{Latest: &newUnit().latest})
	for _, path := range []string{"/", "/about"} {
		assert.NotContains(t, get(t, real, path).Body.String(), "SIMULATION", "beside a real unit: "+path)
	}
}

// The only things that can be sent to the agent are an acknowledgement and a reset of an alarm.
func TestNoControlMovesAValve(t *testing.T) {
	u := newUnit()
	u.run(1, time.Second)
	page := get(t, newScreen(t, u, func(set *Settings) { set.Order = func(rules.Order) error { return nil } }), "/").Body.String()
	var ids []string
	for _, m := range regexp.MustCompile(`<button[^>]*id="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		ids = append(ids, m[1])
	}
	assert.Equal(t, []string{"acknowledge", "ask", "look"}, ids)
	assert.NotContains(t, page, "<form")
	assert.NotContains(t, page, "<input")
}

func TestSettingsThatLookLikeMarkupStayText(t *testing.T) {
	u := newUnit()
	u.run(1, time.Second)
	page := get(t, newScreen(t, u, func(set *Settings) { set.AgreedBy = `<script>alert("x")</script>` }), "/").Body.String()
	assert.NotContains(t, page, "<script>alert")
	assert.Contains(t, page, "&lt;script&gt;")
}

func TestOrders(t *testing.T) {
	var orders []rules.Order
	var fail error
	u := newUnit()
	s := newScreen(t, u, func(set *Settings) {
		set.Order = func(o rules.Order) error { orders = append(orders, o); return fail }
	})
	post := func(path, body string, headers ...string) int {
		r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(body))
		for i := 0; i < len(headers); i += 2 {
			r.Header.Set(headers[i], headers[i+1])
		}
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		return w.Code
	}
	assert.Equal(t, 204, post("/acknowledge", `{"alarm":"off-spec"}`, "Sec-Fetch-Site", "same-origin"))
	assert.Equal(t, 204, post("/reset", `{"alarm":"stopped-off-spec"}`))
	assert.Equal(t, []rules.Order{
		{Who: "screen", Verb: rules.Acknowledge, Alarm: alarm.OffSpec}, {Who: "screen", Verb: rules.Reset, Alarm: alarm.StoppedOffSpec},
	}, orders)

	orders = nil
	assert.Equal(t, 403, post("/acknowledge", `{"alarm":"off-spec"}`, "Sec-Fetch-Site", "cross-site"))
	assert.Equal(t, 403, post("/acknowledge", `{"alarm":"off-spec"}`, "Origin", "http://elsewhere.example"))
	assert.Equal(t, 400, post("/acknowledge", `{"alarm":"flood"}`))
	assert.Equal(t, 400, post("/acknowledge", `{"alarm":"off-spec","valve":"open"}`))
	assert.Equal(t, 400, post("/acknowledge", `{"alarm":"`+strings.Repeat("x", 4000)+`"}`))
	assert.Equal(t, 400, post("/acknowledge", ``))
	assert.Equal(t, 405, get(t, s, "/acknowledge").Code)
	assert.Empty(t, orders, "what is refused reaches nobody")

	fail = errors.New("the loop has stopped")
	assert.Equal(t, 503, post("/acknowledge", `{"alarm":"off-spec"}`))
	assert.Equal(t, 404, func() int {
		w := httptest.NewRecorder()
		newScreen(t, u, nil).ServeHTTP(w, httptest.NewRequest(http.MethodPost, "/acknowledge", strings.NewReader(`{"alarm":"off-spec"}`)))
		return w.Code
	}())
}

func TestHealthz(t *testing.T) {
	u := newUnit()
	var sick error
	s := newScreen(t, u, func(set *Settings) { set.Health = func() error { return sick } })
	assert.Equal(t, 503, get(t, s, "/healthz").Code, "no reading yet")
	u.run(1, time.Second)
	assert.Equal(t, 200, get(t, s, "/healthz").Code)
	sick = errors.New("the disk is full")
	w := get(t, s, "/healthz")
	assert.Equal(t, 503, w.Code)
	assert.Contains(t, w.Body.String(), "the disk is full")
}

func TestMetricsAreMounted(t *testing.T) {
	u := newUnit()
	assert.Equal(t, 404, get(t, newScreen(t, u, nil), "/metrics").Code)
	s := newScreen(t, u, func(set *Settings) {
		set.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "x 1\n") })
	})
	assert.Equal(t, "x 1\n", get(t, s, "/metrics").Body.String())
}

func TestSizesFollowTheDensity(t *testing.T) {
	u := newUnit()
	assert.Equal(t, ":root{--mm:5.8661px;--touch:15}\n", get(t, newScreen(t, u, nil), "/sizes.css").Body.String())
	s := newScreen(t, u, func(set *Settings) { set.PPI, set.Gloves = 254, true })
	assert.Equal(t, ":root{--mm:10.0000px;--touch:20}\n", get(t, s, "/sizes.css").Body.String())
}

func TestTheLookIsRemembered(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	for cookie, want := range map[string]string{"night": "night", "day": "day", `"><script>`: "auto", "": "auto"} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Header.Set("Cookie", "look="+cookie)
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		assert.Contains(t, w.Body.String(), `data-look="`+want+`"`)
	}
}

func TestAssetsAreAskedForAgainButNotSentAgain(t *testing.T) {
	s := newScreen(t, newUnit(), nil)
	first := get(t, s, "/assets/screen.js")
	require.Equal(t, 200, first.Code)
	assert.Equal(t, "text/javascript; charset=utf-8", first.Header().Get("Content-Type"))
	r := httptest.NewRequest(http.MethodGet, "/assets/screen.js", nil)
	r.Header.Set("If-None-Match", first.Header().Get("ETag"))
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	assert.Equal(t, 304, w.Code)
	assert.Empty(t, w.Body.Bytes())
	assert.Equal(t, 404, get(t, s, "/assets/screen.html").Code, "a template is no page")
	assert.Equal(t, 404, get(t, s, "/assets/..%2fscreen.go").Code)
}

// The page's own script stays small: at most 10 kB gzipped.
func TestScriptsAreSmall(t *testing.T) {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	require.NoError(t, err)
	names, err := fs.Glob(assets, "assets/*.js")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	for _, name := range names {
		text, err := fs.ReadFile(assets, name)
		require.NoError(t, err)
		_, err = z.Write(text)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	t.Logf("scripts: %d bytes gzipped", b.Len())
	assert.LessOrEqual(t, b.Len(), 10_000)
}
