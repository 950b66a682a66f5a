package main

import (
	"fmt"
	"regexp"
	"strconv"
)

// shard is part index of count of a batch; the zero value is the whole batch.
// Every count-th photo belongs to a part, so that parts take equally long.
type shard struct{ index, count int }

var shardForm = regexp.MustCompile(`^([0-9]{1,6})/([0-9]{1,6})$`)

// Set reads "I/N" with I from 1 to N; it makes *shard the value of a flag.
func (s *shard) Set(text string) error {
	m := shardForm.FindStringSubmatch(text)
	if m == nil {
		return fmt.Errorf("%q is no part; parts are written I/N, as in 2/3", text)
	}
	index, _ := strconv.Atoi(m[1])
	count, _ := strconv.Atoi(m[2])
	if index < 1 || index > count {
		return fmt.Errorf("part %d of %d does not exist; parts are 1/%d to %d/%d", index, count, max(count, 1), max(count, 1), max(count, 1))
	}
	*s = shard{index, count}
	return nil
}

func (s *shard) String() string {
	if s.count == 0 {
		return ""
	}
	return fmt.Sprintf("%d/%d", s.index, s.count)
}

// Type names the value in the help.
func (s *shard) Type() string { return "I/N" }

func (s *shard) of(photos []photoFile) []photoFile {
	if s.count == 0 {
		return photos
	}
	var mine []photoFile
	for i := s.index - 1; i < len(photos); i += s.count {
		mine = append(mine, photos[i])
	}
	return mine
}
