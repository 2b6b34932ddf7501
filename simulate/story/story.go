// Package story is what happens to the simulated trailer in a demonstration, and the stage on which it happens: good
// water, a bed that breaks through, the stop, the hands that bring good water back, a loss of control power, and on
// from the beginning.
//
// It guarantees that the story depends on simulated time and the plant alone: it runs the same at every pace, however
// the stage is advanced. Nobody in it ever sends off-spec water on from a press, or works against a valve. It never
// reads a clock and never touches what watches the plant.
package story

import (
	"sync"
	"time"

	"ionward/simulate/plant"
)

// beat is how often the story looks at the plant.
const beat = time.Second

// Step is one thing that happens: once its condition has held for a time without a break, somebody acts.
type Step struct {
	Name string        // of its caption
	When Condition     // nil = always
	For  time.Duration // unbroken, counted from when the step before happened
	Act  func(*plant.Plant) error
}

// Condition is what somebody beside the trailer waits for.
type Condition func(*plant.Truth) bool

// Stage is a plant and the story that happens to it. It is safe for concurrent use.
type Stage struct {
	mu    sync.Mutex
	plant *plant.Plant
	steps []Step
	scene Scene
	next  int           // the step that is waited for
	held  bool          // its condition holds
	since time.Duration // from then on
	fault error
}

// Scene is where the story stands.
type Scene struct {
	Round int           // from 1; each is the whole story
	Step  int           // from 1; 0 = nothing has happened yet
	Of    int           // steps in the story; 0 = there is none
	Name  string        // of the caption
	Since time.Duration // simulated time of the step
}

// NewStage sets a plant on the stage. Without steps nothing happens to it but what Do does.
func NewStage(p *plant.Plant, steps []Step) *Stage {
	s := &Stage{plant: p, steps: steps, scene: Scene{Round: 1, Of: len(steps)}}
	if len(steps) > 0 {
		s.scene.Name = steps[len(steps)-1].Name // the last step sets the scene for the first
	}
	s.play()
	return s
}

// Advance brings the plant to a simulated time since its start, and lets happen what is due on the way.
func (s *Stage) Advance(to time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for now := s.plant.Now(); now < to; now = s.plant.Now() {
		at := min(to, now-now%beat+beat)
		s.plant.Step(at - now)
		if at%beat == 0 {
			s.play()
		}
	}
}

// Truth is the plant at its present instant.
func (s *Stage) Truth() plant.Truth {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.plant.Truth()
}

// Do lets somebody outside the story act on the plant. The plant must not be kept.
func (s *Stage) Do(act func(*plant.Plant)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	act(s.plant)
}

// Scene is where the story stands, and the error of an act that could not be done: the story then stands still.
func (s *Stage) Scene() (Scene, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.scene, s.fault
}

// play lets the steps happen that are due now; one beat never plays more than the whole story.
func (s *Stage) play() {
	for range s.steps {
		if s.fault != nil || !s.due() {
			return
		}
		step := &s.steps[s.next]
		if step.Act != nil {
			s.fault = step.Act(s.plant)
		}
		if s.next == 0 && s.scene.Step > 0 {
			s.scene.Round++
		}
		s.scene.Step, s.scene.Name, s.scene.Since = s.next+1, step.Name, s.plant.Now()
		s.next, s.held = (s.next+1)%len(s.steps), false
	}
}

// due reports whether the next step's condition has held for long enough.
func (s *Stage) due() bool {
	step, now := &s.steps[s.next], s.plant.Now()
	if step.When != nil {
		t := s.plant.Truth()
		if !step.When(&t) {
			s.held = false
			return false
		}
	}
	if !s.held {
		s.held, s.since = true, now
	}
	return now-s.since >= step.For
}
