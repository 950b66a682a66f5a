//go:build unix

package bag

import "syscall"

const nonblock = syscall.O_NONBLOCK
