package main

import (
	"context"
	"debug/elf"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"coursegauge/report/cache"
	"coursegauge/report/inspection"
	"coursegauge/report/page"
	"coursegauge/report/schedule"

	"gocv.io/x/gocv"
)

// cacheFolder is where results are kept unless the user says otherwise; "" when
// this system tells no place for such things.
func cacheFolder() string {
	dir, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return filepath.Join(dir, "coursegauge")
}

// openCache gives the store of a run, nil when nothing is to be kept. A folder
// that was asked for must work; the usual one may be missing.
func openCache(t *terminal, folder string, none bool) (*cache.Store, error) {
	usual := folder == ""
	if usual {
		folder = cacheFolder()
	}
	if none || folder == "" {
		return nil, nil
	}
	secret, err := cacheSecret()
	if err != nil && usual {
		t.warn("results are not kept for later runs: %v", err)
		return nil, nil
	}
	if err != nil {
		return nil, failure{fmt.Sprintf("--cache %s: cannot keep results there: %v", folder, err), "set XDG_CONFIG_HOME to a folder of your own that can be written to, or give --no-cache"}
	}
	store, err := cache.Open(folder, cache.Options{Secret: secret, Program: program(), Limit: cache.DefaultLimit, Usual: usual})
	switch {
	case err == nil:
		return store, nil
	case errors.Is(err, cache.ErrForeign) && !usual:
		return nil, usageError{fmt.Sprintf("--cache %s: %v; nothing in it was touched", folder, err), "give a new or an empty folder, or --no-cache"}
	case usual:
		t.warn("results are not kept for later runs: %s: %v", folder, cause(err))
		return nil, nil
	}
	return nil, failure{fmt.Sprintf("--cache %s: cannot keep results there: %v", folder, cause(err)), "give another folder, or --no-cache"}
}

// trim makes room in the folder at the end of a run. What could not be removed
// now is removed by a later one.
func trim(ctx context.Context, store *cache.Store) {
	_, _ = inTime(context.WithoutCancel(ctx), cacheLimit, "", func(context.Context) (any, error) { return nil, store.Trim() })
}

// cacheSecret is what results are kept with, so that only results of the same
// user are believed: a file among the user's settings.
func cacheSecret() ([]byte, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return nil, fmt.Errorf("no place for the key: %w", err)
	}
	path := filepath.Join(dir, "coursegauge", "cache.key")
	secret, err := cache.ReadSecret(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, cause(err))
	}
	return secret, nil
}

// program names this very build: results of another one are not used, whatever
// its version says. The linker's build id changes with every line of code.
var program = sync.OnceValue(func() string {
	return fmt.Sprintf("coursegauge %s, opencv %s, build %s", version, gocv.OpenCVVersion(), buildID())
})

// buildID is the id that Go's linker leaves in a program (ELF note "Go", type 4).
func buildID() string {
	f, err := elf.Open("/proc/self/exe")
	if err != nil {
		return "unknown"
	}
	defer f.Close()
	note := f.Section(".note.go.buildid")
	if note == nil {
		return "unknown"
	}
	data, err := note.Data()
	if err != nil || len(data) < 16 {
		return "unknown"
	}
	return hex.EncodeToString(data[16:]) // after the lengths, the type and the name
}

// keeper keeps what was made of photos for later runs. Results are kept by the
// content of the photo and what its measuring depends on; parts of the report
// by what is written there. One without a store keeps nothing.
type keeper struct {
	store    results
	settings string // in writing
	report   string // what the parts of every photo depend on, in writing
	fresh    bool   // measure anew, as for the pictures of the stages
	warn     func(error)

	limit   time.Duration // for the folder to answer
	stalled atomic.Bool   // it did not
}

// results is where they are kept: a *cache.Store.
type results interface {
	Get(key string, v any) bool
	Put(key string, v any) error
}

// cacheLimit is how long the folder of the results may take to read or write one.
const cacheLimit = 20 * time.Second

// newKeeper takes nil for a store that keeps nothing. warn is called for
// each result that could not be kept.
func newKeeper(store *cache.Store, s settings, sch schedule.Schedule, o page.Options, fresh bool, warn func(error)) (*keeper, error) {
	settings, err := json.Marshal(s)
	if err != nil {
		return nil, err
	}
	report, err := json.Marshal([]any{sch.SHA256, o.PhotosAt})
	if err != nil {
		return nil, err
	}
	return &keeper{store: store, settings: string(settings), report: string(report), fresh: fresh, warn: warn, limit: cacheLimit}, nil
}

func (k *keeper) seenKey(sum string) string { return cache.Key("seen", sum, k.settings) }

// seen is nil when nothing sound is kept.
func (k *keeper) seen(ctx context.Context, sum string) *seen {
	if k.fresh {
		return nil
	}
	s := keptAs[seen](ctx, k, k.seenKey(sum))
	if s == nil || s.SHA256 != sum || s.Result == nil {
		return nil
	}
	return s
}

func (k *keeper) keepSeen(ctx context.Context, s *seen) { k.keep(ctx, k.seenKey(s.SHA256), s) }

// partsKey holds all that a part shows: figures, texts and times stand in the
// written photo, the rest follows from its bytes and the settings.
func (k *keeper) partsKey(p inspection.Photo) string {
	written, err := json.Marshal(p)
	if err != nil {
		return ""
	}
	return cache.Key("parts", string(written), k.settings, k.report)
}

func (k *keeper) parts(ctx context.Context, key string) page.Parts {
	if out := keptAs[page.Parts](ctx, k, key); out != nil {
		return *out
	}
	return nil
}

func (k *keeper) keepParts(ctx context.Context, key string, parts page.Parts) {
	k.keep(ctx, key, parts)
}

// keptAs is what is kept under a key, nil when there is nothing.
func keptAs[T any](ctx context.Context, k *keeper, key string) *T {
	if key == "" || k.stalled.Load() {
		return nil
	}
	v, err := inTime(ctx, k.limit, "the folder of the results", func(context.Context) (*T, error) {
		if v := new(T); k.store.Get(key, v) {
			return v, nil
		}
		return nil, nil
	})
	k.checked(ctx, err)
	return v
}

// keep keeps what is done, also after the run was told to stop.
func (k *keeper) keep(ctx context.Context, key string, v any) {
	if key == "" || k.stalled.Load() {
		return
	}
	ctx = context.WithoutCancel(ctx)
	_, err := inTime(ctx, k.limit, "the folder of the results", func(context.Context) (any, error) { return nil, k.store.Put(key, v) })
	k.checked(ctx, err)
}

// checked gives up a folder that does not answer in time: the batch goes on
// without it.
func (k *keeper) checked(ctx context.Context, err error) {
	if errors.Is(err, errLate) {
		k.stalled.Store(true)
	}
	if ctx.Err() == nil {
		k.warned(err)
	}
}

func (k *keeper) warned(err error) {
	if err != nil && k.warn != nil {
		k.warn(cause(err))
	}
}
