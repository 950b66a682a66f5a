//go:build !unix

package bag

const nonblock = 0
