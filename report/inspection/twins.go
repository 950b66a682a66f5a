package inspection

import "slices"

// Once lists each photo once: of files with the same bytes the first by name
// stays and names the others.
func Once(photos []Photo) []Photo {
	byFile(photos)
	out, first := make([]Photo, 0, len(photos)), map[string]int{}
	for _, p := range photos {
		k, seen := first[p.SHA256]
		if !seen || p.SHA256 == "" { // a file that could not be read is like no other
			first[p.SHA256] = len(out)
			out = append(out, p)
			continue
		}
		out[k].AlsoAs = append(append(slices.Clone(out[k].AlsoAs), p.AlsoAs...), p.File)
	}
	for i := range out {
		slices.Sort(out[i].AlsoAs)
		out[i].AlsoAs = slices.Compact(out[i].AlsoAs)
	}
	return out
}

// Left are the files of a batch that were not done, in order.
func Left(asked []string, photos []Photo) []string {
	done := map[string]bool{}
	for _, p := range photos {
		done[p.File] = true
		for _, f := range p.AlsoAs {
			done[f] = true
		}
	}
	var left []string
	for _, f := range asked {
		if !done[f] {
			left = append(left, f)
		}
	}
	slices.Sort(left)
	return slices.Compact(left)
}
