package screen

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"
	"time"

	"ionward/agent/words"
	"ionward/rules"
)

//go:embed assets
var assets embed.FS

var pages = template.Must(template.ParseFS(assets, "assets/*.html"))

// policy forbids everything that is not a file of our own: no inline script or style, no frame, no other host.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"frame-ancestors 'none'; base-uri 'none'; form-action 'self'"

// routes are the addresses of the screen.
func (s *Screen) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) { s.page(w, r, "screen.html") })
	mux.HandleFunc("GET /about", func(w http.ResponseWriter, r *http.Request) { s.page(w, r, "about.html") })
	mux.HandleFunc("GET /events", s.events)
	mux.HandleFunc("GET /trend", s.trendJSON)
	mux.HandleFunc("GET /healthz", s.healthz)
	mux.HandleFunc("GET /sizes.css", s.sizes)
	mux.HandleFunc("GET /assets/{name}", asset)
	mux.HandleFunc("POST /acknowledge", func(w http.ResponseWriter, r *http.Request) { s.order(w, r, rules.Acknowledge) })
	mux.HandleFunc("POST /reset", func(w http.ResponseWriter, r *http.Request) { s.order(w, r, rules.Reset) })
	if s.set.Metrics != nil {
		mux.Handle("GET /metrics", s.set.Metrics)
	}
	// An order from another site's page is refused, whatever the browser would send along.
	return guard(http.NewCrossOriginProtection().Handler(mux))
}

// guard puts the headers on every answer.
func guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// sheet is what the page templates see.
type sheet struct {
	*words.Phrases
	Fields     map[string]string
	Steps      []string
	Left       string // of the countdown, as text
	LeftLength string
	Age        string // of the reading, as text
	Trailer    string
	Simulation bool
	Look       string // day, night or auto
	Orders     bool   // acknowledging is possible
	Boot       string
	Version    string
	Pace       float64
	Silent     string // JSON: what the page shows when the stream stops
	Ages       string // the units of an age, for the page's own clock
	NotTrue    string
	Line, Off  string // the trend as drawn for the first view
}

// V is a field of the view.
func (s sheet) V(key string) string { return s.Fields[key] }

// page answers with a page that has the present values in it.
func (s *Screen) page(w http.ResponseWriter, r *http.Request, name string) {
	s.render(w, r, name, s.view())
}

func (s *Screen) render(w http.ResponseWriter, r *http.Request, name string, v *view) {
	snap, _, _ := s.present()
	p := sheet{
		Phrases: s.words, Fields: v.fields, Steps: v.steps, Trailer: s.set.Trailer, Simulation: s.set.Simulation,
		Look: look(r), Orders: s.set.Order != nil, Boot: s.boot, Version: s.set.Version, Pace: s.set.Pace, Silent: s.silent(),
		Left: words.Countdown(v.left), Age: s.age(v.age), Ages: s.ages(),
	}
	p.LeftLength = countLength(p.Left)
	low, unit := s.words.Flow(s.set.Watch.LowFlow)
	p.NotTrue = s.words.Label("not_true", "low", low+" "+unit)
	if snap != nil {
		p.Trailer, p.Simulation = snap.Trailer, p.Simulation || snap.Simulation
		s.mu.Lock()
		p.Line, p.Off = s.trend.paths(trendScale * snap.Settings.Endpoint)
		s.mu.Unlock()
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, p); err != nil {
		http.Error(w, "cannot render the page: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b.Bytes()) // a browser that went away needs no page
}

// look is the look that this panel PC chose last; auto follows the browser.
func look(r *http.Request) string {
	if c, err := r.Cookie("look"); err == nil && (c.Value == "day" || c.Value == "night") {
		return c.Value
	}
	return "auto"
}

// silent is what the browser shows when it hears nothing any more. It must be in the page beforehand: nobody can send
// it then.
func (s *Screen) silent() string {
	a := s.words.Silent()
	text, err := json.Marshal(map[string]any{
		"word": a.Word, "word.box": box(a.Word, false), "word.len": length(a.Word, false), "sentence": a.Sentence,
		"tone": "blind", "tone.word": "", "counts": "no", "live": "no", "steps": a.Steps, "steps.n": strconv.Itoa(len(a.Steps)),
		"announce": a.Word,
	})
	if err != nil {
		return "{}" // cannot happen: strings and a list of strings
	}
	return string(text)
}

// age writes the age of the reading for the bottom edge.
func (s *Screen) age(d time.Duration) string {
	if d < 0 {
		return s.words.Label("age_none")
	}
	return s.words.Label("age", "age", s.words.Age(d))
}

// ages gives the page the phrases it needs to go on counting the age by itself: none, then seconds, minutes, hours, days.
func (s *Screen) ages() string {
	list := []string{s.words.Label("age_none")}
	for _, unit := range []string{"s", "min", "h", "d"} {
		list = append(list, s.words.Label("age", "age", s.words.Part(unit)))
	}
	return strings.Join(list, "|")
}

// countLength is how wide a countdown is drawn, beside capitals 100 high.
func countLength(text string) string {
	sum := 0
	for _, r := range text {
		if r == ':' {
			sum += 30
		} else {
			sum += 66
		}
	}
	return strconv.Itoa(min(sum, 275))
}

// sizes tells the style sheet how many pixels a millimetre has on this display, so that letters have their true height.
func (s *Screen) sizes(w http.ResponseWriter, _ *http.Request) {
	touch := 15
	if s.set.Gloves {
		touch = 20
	}
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	_, _ = fmt.Fprintf(w, ":root{--mm:%.4fpx;--touch:%d}\n", s.set.PPI/25.4, touch)
}

// asset serves one of our own files. It may be kept by the browser but is asked for again each time.
func asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	text, err := fs.ReadFile(assets, path.Join("assets", path.Base(name)))
	kind := map[string]string{".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}[path.Ext(name)]
	if err != nil || kind == "" {
		http.NotFound(w, r)
		return
	}
	sum := sha256.Sum256(text)
	tag := `"` + hex.EncodeToString(sum[:8]) + `"`
	h := w.Header()
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", tag)
	if r.Header.Get("If-None-Match") == tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	h.Set("Content-Type", kind+"; charset=utf-8")
	_, _ = w.Write(text)
}

// healthz answers 200 while readings come and the further check, if any, is content.
func (s *Screen) healthz(w http.ResponseWriter, _ *http.Request) {
	snap, quiet, _ := s.present()
	switch {
	case snap == nil:
		http.Error(w, "no reading yet", http.StatusServiceUnavailable)
		return
	case quiet > s.set.Silence:
		http.Error(w, "no step of the loop for "+quiet.Truncate(time.Second).String(), http.StatusServiceUnavailable)
		return
	}
	if s.set.Health != nil {
		if err := s.set.Health(); err != nil {
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
			return
		}
	}
	_, _ = fmt.Fprintln(w, "ok")
}
