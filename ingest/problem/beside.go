package problem

import (
	"cmp"
	"runtime"
	"sync"
	"sync/atomic"
)

// Beside makes n calls that know nothing of each other, side by side on all cores, and returns when all are done. A
// panic in one of them goes on in the caller.
func Beside(n int, call func(i int)) {
	var next atomic.Int64
	work := func() (fault error) {
		defer func() {
			if p := recover(); p != nil {
				fault = Caught("", p)
			}
		}()
		for i := int(next.Add(1)); i <= n; i = int(next.Add(1)) {
			call(i - 1)
		}
		return nil
	}
	faults := make([]error, max(min(n, runtime.GOMAXPROCS(0)), 1))
	var others sync.WaitGroup
	for w := range faults[1:] {
		others.Go(func() { faults[w] = work() })
	}
	faults[len(faults)-1] = work()
	others.Wait()
	if fault := cmp.Or(faults...); fault != nil {
		panic(fault)
	}
}
