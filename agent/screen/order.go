package screen

import (
	"encoding/json"
	"net/http"

	"ionward/rules"
	"ionward/rules/alarm"
)

// here is who gave an order that was pressed on the screen without a name.
const here = "screen"

// order hands a person's acknowledgement or reset of one alarm to the loop. The page names the alarm it shows, so that
// nobody acknowledges what he has not seen.
func (s *Screen) order(w http.ResponseWriter, r *http.Request, verb rules.Verb) {
	if s.set.Order == nil {
		http.Error(w, "this screen takes no orders", http.StatusNotFound)
		return
	}
	var body struct {
		Alarm string `json:"alarm"`
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<10))
	d.DisallowUnknownFields()
	if err := d.Decode(&body); err != nil {
		http.Error(w, `cannot read the order: it must be {"alarm":"name"}`, http.StatusBadRequest)
		return
	}
	id, ok := alarm.Parse(body.Alarm)
	if !ok {
		http.Error(w, "there is no such alarm", http.StatusBadRequest)
		return
	}
	if err := s.set.Order(rules.Order{Who: here, Verb: verb, Alarm: id}); err != nil {
		http.Error(w, "cannot pass the order on: "+err.Error(), http.StatusServiceUnavailable)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}
