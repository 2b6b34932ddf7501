package words

import (
	"regexp"
	"strings"
)

// names are the texts for the placeholders of a phrase.
type names map[string]string

var placeholder = regexp.MustCompile(`\{([a-z_]*)\}`)

// fill puts texts in place of placeholders. The site's own words are known to every phrase. One pass: a text that is put
// in is never searched for placeholders again, whatever a setting contains.
func (p *Phrases) fill(text string, n names) string {
	if !strings.Contains(text, "{") {
		return text
	}
	return placeholder.ReplaceAllStringFunc(text, func(m string) string {
		name := m[1 : len(m)-1]
		if t, ok := n[name]; ok {
			return t
		}
		if t, ok := p.site(name); ok {
			return t
		}
		return m
	})
}

// site gives the texts that come from the site's settings.
func (p *Phrases) site(name string) (string, bool) {
	switch name {
	case "bypass":
		if p.set.Bypass == "" {
			return "BYPASS", true
		}
		return p.set.Bypass, true
	case "user":
		return p.phone(p.set.User), true
	case "service":
		return p.phone(p.set.Service), true
	case "control_room":
		return p.phone(p.set.ControlRoom), true
	}
	return "", false
}

func (p *Phrases) phone(number string) string {
	if number = strings.TrimSpace(number); number != "" {
		return number
	}
	return p.file.Labels["no_number"]
}

// asked lists the placeholders of a phrase.
func asked(text string) []string {
	var list []string
	for _, m := range placeholder.FindAllStringSubmatch(text, -1) {
		list = append(list, m[1])
	}
	return list
}
