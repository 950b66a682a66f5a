package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"coursegauge/report/escape"
	"coursegauge/report/inspection"
	"coursegauge/report/regular"
	"coursegauge/report/review"
)

// keepsDecisions makes sure that the inspection in the folder of --out, if people
// have decided about it, is not replaced by one of other photos: the decisions
// would be about nothing that anybody sees.
func (o inspectOptions) keepsDecisions(ctx context.Context, photos []photoFile) error {
	if o.replace {
		return nil
	}
	decided, err := readFrom(ctx, func() (map[string]bool, error) { return decidedPhotos(o.out) })
	if errors.Is(err, errStopped) {
		return err
	}
	if err != nil {
		return failure{fmt.Sprintf("--out %s: cannot read the decisions there: %v", escape.Text(o.out), cause(err)), "give another folder, or --replace"}
	}
	if len(decided) == 0 {
		return nil
	}
	for _, p := range photos {
		sum, err := hashFile(ctx, p.path, readLimit)
		if ctx.Err() != nil {
			return errStopped
		}
		if err == nil {
			delete(decided, sum)
		}
	}
	if n := len(decided); n > 0 {
		return usageError{fmt.Sprintf("--out %s holds decisions about %s not among these", escape.Text(o.out), plural(n, "photo that is", "photos that are")),
			"give another folder; or --replace, and the decisions stay in " + review.FileName + " without being shown"}
	}
	return nil
}

// decidedPhotos are the SHA-256 of the photos of the inspection in a folder that
// people have decided about.
func decidedPhotos(folder string) (map[string]bool, error) {
	log, err := regular.Read(filepath.Join(folder, review.FileName), maxFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	shown := map[string]bool{}
	d, err := inspection.ReadFile(outputsIn(folder).inspection)
	for _, p := range d.Photos {
		shown[p.SHA256] = true
	}
	decided := map[string]bool{}
	for line := range bytes.Lines(bytes.TrimPrefix(log, []byte("\ufeff"))) {
		// Where the inspection is gone or of another version, every decision counts.
		if one, parsed := review.Parse(bytes.TrimSpace(line)); parsed == nil && (err != nil || shown[one.Photo]) {
			decided[one.Photo] = true
		}
	}
	return decided, nil
}
