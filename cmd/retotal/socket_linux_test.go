package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"unsafe"

	"golang.org/x/sys/unix"

	quarrylane "retotal/testdata/quarry-lane"
)

// withoutSockets names, in the environment, a run of this test program that the kernel ends at its first socket.
const withoutSockets = "RETOTAL_TEST_WITHOUT_SOCKETS"

// init takes sockets away from a run that asks for it.
func init() {
	if os.Getenv(withoutSockets) == "" {
		return
	}
	if err := forbidSockets(); err != nil {
		fmt.Fprintln(os.Stderr, "sockets cannot be forbidden:", err)
		os.Exit(100)
	}
	if len(os.Args) > 1 && os.Args[1] == "dial" { // the proof that it works
		_, err := net.Dial("tcp", "127.0.0.1:9")
		fmt.Fprintln(os.Stderr, "a socket was opened:", err)
		os.Exit(0)
	}
}

// forbidSockets has the kernel kill the program when any of its threads calls socket(2) or socketpair(2): a filter of
// classic BPF as in seccomp(2), which looks at the number of the call, the first word of its data.
func forbidSockets() error {
	load := func(offset uint32) unix.SockFilter {
		return unix.SockFilter{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: offset}
	}
	is := func(number uintptr, otherwise uint8) unix.SockFilter {
		return unix.SockFilter{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, Jf: otherwise, K: uint32(number)}
	}
	end := func(what uint32) unix.SockFilter {
		return unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: what}
	}
	filter := []unix.SockFilter{
		load(0),
		is(unix.SYS_SOCKET, 1), end(unix.SECCOMP_RET_KILL_PROCESS),
		is(unix.SYS_SOCKETPAIR, 1), end(unix.SECCOMP_RET_KILL_PROCESS),
		end(unix.SECCOMP_RET_ALLOW),
	}
	program := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	_, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_TSYNC,
		uintptr(unsafe.Pointer(&program)))
	if errno != 0 {
		return errno
	}
	return nil
}

// TestNoSocket: correct, check, verify and the other commands on sites run to their end where the kernel kills whoever
// opens a socket; a run that opens one is killed.
func TestNoSocket(t *testing.T) {
	dir := t.TempDir()
	if err := quarrylane.Write(dir); err != nil {
		t.Fatal(err)
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// The test program is itself the command under the name that testscript gives it.
	named := filepath.Join(t.TempDir(), "retotal")
	if err := os.Symlink(program, named); err != nil {
		t.Fatal(err)
	}
	start := func(args ...string) (string, error) {
		c := exec.Command(named, args...)
		c.Dir = dir
		c.Env = append(os.Environ(), withoutSockets+"=1")
		out, err := c.CombinedOutput()
		return string(out), err
	}
	out, err := start("dial")
	if strings.Contains(out, "sockets cannot be forbidden") {
		t.Skip(out)
	}
	if status, ok := syscall.WaitStatus(0), false; err != nil {
		if e, is := err.(*exec.ExitError); is {
			status, ok = e.Sys().(syscall.WaitStatus)
		}
		if !ok || status.Signal() != syscall.SIGSYS {
			t.Fatalf("a run that opens a socket ends with %v: %s", err, out)
		}
	} else {
		t.Fatalf("a run that opens a socket is not killed: %s", out)
	}
	results := filepath.Join("out", "quarry-lane")
	for _, c := range []struct {
		says string
		args []string
	}{
		{"Rows read ", []string{"check", "site.toml"}},
		{"Total after ", []string{"correct", "site.toml"}},
		{"every byte of the results follows", []string{"verify", results}},
		{"then and now", []string{"compare", results, results}},
		{"[log.columns]", []string{"draft", "one-day.csv"}},
		{"0.1", []string{"rate", "site.toml", "--head", "0.1 m"}},
	} {
		if out, err := start(c.args...); err != nil || !strings.Contains(out, c.says) {
			t.Errorf("%s: %v\n%s", strings.Join(c.args, " "), err, out)
		}
	}
}
