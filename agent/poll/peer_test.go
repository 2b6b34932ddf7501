package poll_test

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"ionward/agent/modbus/modbustest"
)

// asPeer, set in the environment, makes the test program an instrument in a process of its own, which a test can stop
// and kill: "tcp" or "rtu+tcp", the address to listen at, and when its numbers began.
const asPeer = "IONWARD_TEST_PEER"

// The phases of an exchange in which an instrument can be caught.
var phases = []string{"connected", "asked", "half answered", "answered"}

// servePeer answers until its standard input ends. A line there names a phase: the next time it is reached the peer
// prints "here" and waits for "go on". "cut" ends all connections.
func servePeer(how string) {
	f := strings.Fields(how)
	began, err := strconv.ParseInt(f[2], 10, 64)
	if err != nil {
		panic(err)
	}
	s := &stage{began: time.Unix(0, began), pace: 100 * time.Millisecond}
	proxy := &modbustest.Proxy{RTU: f[0] != "tcp", Answer: s.answer}
	l, err := net.Listen("tcp", f[1])
	if err != nil {
		panic(err)
	}
	var wanted atomic.Value
	wanted.Store("")
	resume := make(chan struct{})
	at := func(phase string) {
		if wanted.CompareAndSwap(phase, "") {
			fmt.Println("here")
			<-resume
		}
	}
	proxy.Set(modbustest.Fault{
		Greet: func(net.Conn) { at("connected") },
		Do: func(e *modbustest.Exchange) {
			at("asked")
			frame := e.Good()
			e.Send(frame[:len(frame)/2])
			at("half answered")
			e.Send(frame[len(frame)/2:])
			at("answered")
		},
	})
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				panic(err)
			}
			proxy.Serve(c)
		}
	}()
	fmt.Println(l.Addr())
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		switch in.Text() {
		case "go on":
			resume <- struct{}{}
		case "cut":
			proxy.Cut()
		default:
			wanted.Store(in.Text())
		}
	}
}
