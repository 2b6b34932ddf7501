// Package words is what people read: phrase files, one per language, that turn the rule's codes and numbers into a
// state word, a sentence, numbered steps and labels.
//
// It guarantees that every language has a phrase for every code, mode, situation, alarm and cause, that no phrase asks
// for a number it is not given, that a number is never shown without its unit, and that a product reading that counts
// as on spec is never written as the endpoint or above. A file that breaks this does not load.
//
// It never reads a clock, decides nothing about water, and keeps no state.
package words
