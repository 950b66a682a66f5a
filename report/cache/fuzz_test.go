package cache

import (
	"os"
	"testing"
)

// Whatever lies in an entry's place, reading it neither panics nor gives
// anything but what was kept.
func FuzzEntry(f *testing.F) {
	s, err := Open(f.TempDir(), Options{Secret: mine, Program: "one", Limit: DefaultLimit})
	if err != nil {
		f.Fatal(err)
	}
	key := Key("photo")
	if err := s.Put(key, result{"a", []byte("pixels")}); err != nil {
		f.Fatal(err)
	}
	whole, err := os.ReadFile(s.path(key))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Add([]byte("{}\n"))
	f.Add([]byte(nil))
	f.Fuzz(func(t *testing.T, data []byte) {
		var got result
		if s.decode(key, data, &got) == nil && (got.Name != "a" || string(got.Data) != "pixels") {
			t.Errorf("read %+v out of %q", got, data)
		}
	})
}
