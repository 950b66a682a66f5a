package main

// leastAddressSpace is what the program and its libraries need to start their
// threads, MB. Below, the runtime of Go ends with pages of its own state, some of
// it before any of our code: so this is looked at by a constructor, which runs
// before the runtime does.

/*
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <unistd.h>

enum { leastAddressSpace = 2500 };

__attribute__((constructor)) static void checkAddressSpace(void) {
	struct rlimit limit;
	if (getrlimit(RLIMIT_AS, &limit) != 0 || limit.rlim_cur == RLIM_INFINITY || limit.rlim_cur >> 20 >= leastAddressSpace) {
		return;
	}
	char line[200];
	int n = snprintf(line, sizeof line,
		"coursegauge: not enough memory: the limit of address space is %llu MB; at least %d MB are needed\n"
		"hint: raise the limit: ulimit -v unlimited\n",
		(unsigned long long)(limit.rlim_cur >> 20), leastAddressSpace);
	if (write(2, line, (size_t)n) < 0) {
		// nobody is told
	}
	_exit(3);
}
*/
import "C"
