// Tenminutes is the least that anybody would write: encoding/csv and a ten-minute timer, as a whole process to measure the
// replay against. It prints how often the timer ran out. With -reuse the records share their memory.
package main

import (
	"bufio"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
)

func main() {
	reuse := flag.Bool("reuse", false, "reuse the record")
	flag.Parse()
	f, err := os.Open(flag.Arg(0))
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<18))
	r.ReuseRecord = *reuse
	_, _ = r.Read()
	trips, tripped, since := 0, false, math.Inf(1)
	for {
		row, err := r.Read()
		if err != nil {
			fmt.Println(trips)
			return
		}
		at, _ := strconv.ParseFloat(row[0], 64)
		v, _ := strconv.ParseFloat(row[2], 64)
		switch {
		case v < 1:
			since, tripped = math.Inf(1), false
		case math.IsInf(since, 1):
			since = at
		case at-since >= 600 && !tripped:
			tripped = true
			trips++
		}
	}
}
