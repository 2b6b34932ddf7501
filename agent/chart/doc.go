// Package chart draws on a small canvas of lines, paths, rectangles, circles and text; its own backend writes SVG.
//
// It guarantees that the same numbers give the same bytes, that text is escaped, that a drawing refers to nothing outside
// itself and holds no script and no style sheet (it passes a strict content security policy), and that every axis names
// its unit. It never drops a finite number: where a logarithm has no place for one, the axis is linear.
package chart
