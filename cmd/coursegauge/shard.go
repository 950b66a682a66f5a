package main

import (
	"context"
	"fmt"
	"os"
	"regexp"
	"strconv"
)

// shard is part index of count of a batch; the zero value is the whole batch.
// Which part a photo belongs to follows from its content alone: it does not
// change when other photos come or go, or when a photo gets another name.
type shard struct{ index, count int }

var shardForm = regexp.MustCompile(`^([0-9]{1,6}|env)/([0-9]{1,6})$`)

// Set reads "I/N" with I from 1 to N, or "env/N", which takes I from where a
// scheduler of jobs puts it; it makes *shard the value of a flag.
func (s *shard) Set(text string) error {
	m := shardForm.FindStringSubmatch(text)
	if m == nil {
		return fmt.Errorf("%q is no part; parts are written I/N, as in 2/3, or env/N", text)
	}
	count, _ := strconv.Atoi(m[2])
	index, _ := strconv.Atoi(m[1])
	if m[1] == "env" {
		var err error
		if index, err = indexOfJob(count); err != nil {
			return err
		}
	}
	if index < 1 || index > count {
		return fmt.Errorf("part %d of %d does not exist; parts are 1/%d to %d/%d", index, count, max(count, 1), max(count, 1), max(count, 1))
	}
	*s = shard{index, count}
	return nil
}

// indexOfJob is the number of this job among its like, from 1 up.
// Kubernetes counts an Indexed Job from 0; a Slurm array counts from wherever
// its user began, in steps of his choice.
func indexOfJob(count int) (int, error) {
	if text, ok := os.LookupEnv("JOB_COMPLETION_INDEX"); ok {
		i, err := numberIn("JOB_COMPLETION_INDEX", text)
		return i + 1, err
	}
	text, ok := os.LookupEnv("SLURM_ARRAY_TASK_ID")
	if !ok {
		return 0, fmt.Errorf("env/%d needs JOB_COMPLETION_INDEX (Kubernetes) or SLURM_ARRAY_TASK_ID (Slurm), and neither is set", count)
	}
	id, err := numberIn("SLURM_ARRAY_TASK_ID", text)
	if err != nil {
		return 0, err
	}
	first, step := 1, 1
	for _, v := range []struct {
		name string
		to   *int
	}{{"SLURM_ARRAY_TASK_MIN", &first}, {"SLURM_ARRAY_TASK_STEP", &step}} {
		if text, ok := os.LookupEnv(v.name); ok {
			if *v.to, err = numberIn(v.name, text); err != nil {
				return 0, err
			}
		}
	}
	if text, ok := os.LookupEnv("SLURM_ARRAY_TASK_COUNT"); ok {
		n, err := numberIn("SLURM_ARRAY_TASK_COUNT", text)
		if err != nil {
			return 0, err
		}
		if n != count {
			return 0, fmt.Errorf("env/%d in an array of %d tasks; photos would be left out or never be asked for", count, n)
		}
	}
	return (id-first)/max(step, 1) + 1, nil
}

func numberIn(name, text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n > 1_000_000 {
		return 0, fmt.Errorf("%s is %q; a number from 0 up is needed", name, text)
	}
	return n, nil
}

func (s *shard) String() string {
	if s.count == 0 {
		return ""
	}
	return fmt.Sprintf("%d/%d", s.index, s.count)
}

// Type names the value in the help.
func (s *shard) Type() string { return "I/N" }

// of picks the photos of this part. A file that cannot be read belongs to the
// part that its name gives, where it is then refused.
func (s *shard) of(ctx context.Context, photos []photoFile) []photoFile {
	if s.count == 0 {
		return photos
	}
	var mine []photoFile
	for _, p := range photos {
		if ctx.Err() != nil {
			return nil
		}
		sum, err := hashFile(ctx, p.path, readLimit)
		if err != nil {
			sum = hashText(p.name)
		}
		if s.holds(sum) {
			mine = append(mine, p)
		}
	}
	return mine
}

// holds tells whether a photo of this SHA-256 belongs to the part: the first 48
// bits, which are as good as random, modulo the count.
func (s *shard) holds(sum string) bool {
	n, err := strconv.ParseUint(sum[:12], 16, 64)
	return err == nil && int(n%uint64(s.count)) == s.index-1
}
