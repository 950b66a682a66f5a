package main

import (
	"debug/elf"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

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
	store    *cache.Store
	settings string // in writing
	report   string // what the parts of every photo depend on, in writing
	fresh    bool   // measure anew, as for the pictures of the stages
	warn     func(error)
}

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
	return &keeper{store, string(settings), string(report), fresh, warn}, nil
}

func (k *keeper) seenKey(sum string) string { return cache.Key("seen", sum, k.settings) }

// seen is nil when nothing sound is kept.
func (k *keeper) seen(sum string) *seen {
	s := new(seen)
	if k.fresh || !k.store.Get(k.seenKey(sum), s) || s.SHA256 != sum || s.Result == nil {
		return nil
	}
	return s
}

func (k *keeper) keepSeen(s *seen) { k.warned(k.store.Put(k.seenKey(s.SHA256), s)) }

// partsKey holds all that a part shows: figures, texts and times stand in the
// written photo, the rest follows from its bytes and the settings.
func (k *keeper) partsKey(p inspection.Photo) string {
	written, err := json.Marshal(p)
	if err != nil {
		return ""
	}
	return cache.Key("parts", string(written), k.settings, k.report)
}

func (k *keeper) parts(key string) (out page.Parts) {
	if key == "" || !k.store.Get(key, &out) {
		return nil
	}
	return out
}

func (k *keeper) keepParts(key string, parts page.Parts) {
	if key != "" {
		k.warned(k.store.Put(key, parts))
	}
}

func (k *keeper) warned(err error) {
	if err != nil && k.warn != nil {
		k.warn(cause(err))
	}
}
