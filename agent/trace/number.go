package trace

import (
	"bytes"
	"math"
	"strconv"
)

// Powers of ten that a float holds exactly.
var tens = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// decimal reads sign, digits and a point into a whole number and how many of its digits are behind the point; false for
// anything else, and for more digits than fit.
func decimal(b []byte) (mantissa uint64, places int, negative, ok bool) {
	i := 0
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative, i = b[0] == '-', 1
	}
	first, point := i, -1
	for ; i < len(b); i++ {
		switch d := b[i] - '0'; {
		case d <= 9:
			mantissa = mantissa*10 + uint64(d)
		case b[i] == '.' && point < 0:
			point = i
		default:
			return 0, 0, false, false
		}
	}
	digits := i - first
	if point >= 0 {
		digits--
		places = i - point - 1
	}
	return mantissa, places, negative, digits > 0 && digits <= 18
}

// number reads a decimal number, NaN or an infinity. A number whose digits fit a float exactly is divided by an exact
// power of ten, which rounds once and so gives the nearest float; others go the slow way.
func number(b []byte) (float64, bool) {
	m, places, negative, ok := decimal(b)
	if ok && m < 1<<53 {
		v := float64(m) / tens[places]
		if negative {
			v = -v
		}
		return v, true
	}
	return slowNumber(b)
}

func slowNumber(b []byte) (float64, bool) {
	b = bytes.TrimSpace(b)
	switch string(bytes.ToLower(b)) {
	case "nan", "+nan", "-nan":
		return math.NaN(), true
	case "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity":
		return math.Inf(1), true // the sign does not matter: it is a bad reading
	}
	for _, c := range b {
		if !(c >= '0' && c <= '9') && c != '+' && c != '-' && c != '.' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil && !math.IsInf(v, 0) {
		return 0, false
	}
	return v, true
}
