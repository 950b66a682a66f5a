package bag

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// The records of a zip archive (PKWARE's APPNOTE.TXT 6.3.10, 4.3) and the sizes of
// their fixed parts.
const (
	localSignature = 0x04034b50 // before the bytes of a file
	localSize      = 30
	indexSignature = 0x02014b50 // an entry of the index
	indexSize      = 46
	endSignature   = 0x06054b50 // the end of the index
	endSize        = 22
	end64Signature = 0x06064b50 // the same for archives beyond 4 GB or 65,535 files
	end64Size      = 56
	whereSignature = 0x07064b50 // where that record lies
	whereSize      = 20
	dataSignature  = 0x08074b50 // sizes behind the bytes of a file
)

// Bits of a file's flags.
const (
	flagSizesBehind = 1 << 3
	flagUTF8        = 1 << 11
	flagsKnown      = flagSizesBehind | flagUTF8 | 1<<1 | 1<<2 // the last two tell how hard it was compressed
)

// harmlessExtras are the extra fields that tell sizes, times and owners, and nothing
// by which a program would give a file another name, other bytes or another kind.
var harmlessExtras = []uint16{extraSizes, 0x000a /* times */, 0x5455 /* times */, 0x5855 /* times, owner */, 0x7855 /* owner */, 0x7875 /* owner */}

const extraSizes = 0x0001 // those that have no room in 4 bytes

// vmsVersion ends a name that unzip cuts off.
var vmsVersion = regexp.MustCompile(`;[0-9]*$`)

// indexEntry is a file as the index at the end of the archive tells it.
type indexEntry struct {
	name                 string
	flags, method        uint16
	time, date           uint16
	crc                  uint32
	packed, size, offset uint64
}

// extent is where the index of an archive lies, and how many files it lists.
type extent struct {
	at, size int64
	files    uint64
}

// envelope holds the archive around the files to one meaning: every byte belongs to
// one file of the index or to the index, and what stands before the bytes of a
// file says the same as the index. Then a program that reads from the front
// unpacks what one finds that reads the index, and nothing is hidden.
func envelope(r io.ReaderAt, size int64) (problems []Problem) {
	x, err := findIndex(r, size)
	if err != nil {
		return []Problem{{"", err.Error()}}
	}
	problem := func(path string, err error) {
		if err != nil {
			problems = append(problems, Problem{path, err.Error()})
		}
	}
	entries, err := readIndex(r, x, problem)
	if err != nil {
		return append(problems, Problem{"", err.Error()})
	}
	slices.SortStableFunc(entries, func(a, b indexEntry) int { return cmp.Compare(a.offset, b.offset) })
	at := int64(0)
	for _, e := range entries {
		if e.offset != uint64(at) {
			problem(e.name, fmt.Errorf("lies at byte %d of the archive and not at %d, where what lies before it ends; other programs find something else there", e.offset, at))
			return problems // where the rest ought to lie is not known
		}
		if at, err = e.checkLocal(r, at, x.at); err != nil {
			problem(e.name, err)
			return problems
		}
	}
	if at != x.at {
		problem("", fmt.Errorf("the archive holds %d bytes between its last file and its index", x.at-at))
	}
	return problems
}

// findIndex reads the end of the archive, which must be its last bytes.
func findIndex(r io.ReaderAt, size int64) (extent, error) {
	b := make([]byte, endSize)
	if size < endSize {
		return extent{}, errors.New("the archive is too short to have an end")
	}
	if _, err := r.ReadAt(b, size-endSize); err != nil {
		return extent{}, fmt.Errorf("the end of the archive cannot be read: %w", Cause(err))
	}
	le := binary.LittleEndian
	if le.Uint32(b) != endSignature || le.Uint16(b[20:]) != 0 {
		return extent{}, errors.New("the archive does not end with its index: a comment or other bytes follow")
	}
	x := extent{int64(le.Uint32(b[16:])), int64(le.Uint32(b[12:])), uint64(le.Uint16(b[10:]))}
	end := size - endSize
	if le.Uint16(b[10:]) == 0xffff || le.Uint32(b[12:]) == 0xffffffff || le.Uint32(b[16:]) == 0xffffffff {
		var err error
		if x, err = findIndex64(r, b, end); err != nil {
			return extent{}, err
		}
		end -= whereSize + end64Size
	} else if le.Uint16(b[4:]) != 0 || le.Uint16(b[6:]) != 0 || le.Uint16(b[8:]) != le.Uint16(b[10:]) {
		return extent{}, errors.New("the archive says that it is one part of several")
	}
	if x.at < 0 || x.size < 0 || x.at > end || x.size != end-x.at {
		return extent{}, errors.New("the index of the archive does not lie right before its end: bytes stand before the archive or behind its index")
	}
	return x, nil
}

// findIndex64 reads the end of a large archive; b is the small one behind it, which
// must say the same where it has room.
func findIndex64(r io.ReaderAt, b []byte, end int64) (extent, error) {
	wrong := errors.New("the two ends of the large archive do not fit each other")
	le := binary.LittleEndian
	at := end - whereSize - end64Size
	big := make([]byte, end64Size+whereSize)
	if at < 0 {
		return extent{}, wrong
	}
	if _, err := r.ReadAt(big, at); err != nil {
		return extent{}, wrong
	}
	where := big[end64Size:]
	x := extent{int64(le.Uint64(big[48:])), int64(le.Uint64(big[40:])), le.Uint64(big[32:])}
	fits := func(small, saturated, large uint64) bool { return small == saturated || small == large }
	switch {
	case le.Uint32(big) != end64Signature, le.Uint64(big[4:]) != end64Size-12, le.Uint32(big[16:]) != 0, le.Uint32(big[20:]) != 0, le.Uint64(big[24:]) != x.files,
		le.Uint32(where) != whereSignature, le.Uint32(where[4:]) != 0, le.Uint64(where[8:]) != uint64(at), le.Uint32(where[16:]) != 1,
		!fits(uint64(le.Uint16(b[4:])), 0xffff, 0), !fits(uint64(le.Uint16(b[6:])), 0xffff, 0),
		!fits(uint64(le.Uint16(b[8:])), 0xffff, x.files), !fits(uint64(le.Uint16(b[10:])), 0xffff, x.files),
		!fits(uint64(le.Uint32(b[12:])), 0xffffffff, uint64(x.size)), !fits(uint64(le.Uint32(b[16:])), 0xffffffff, uint64(x.at)):
		return extent{}, wrong
	}
	return x, nil
}

// readIndex reads every entry of the index and holds it against what a bag may have.
func readIndex(r io.ReaderAt, x extent, problem func(path string, err error)) ([]indexEntry, error) {
	if x.files > maxFiles {
		return nil, fmt.Errorf("the index of the archive lists %d files; no more than %d are read", x.files, maxFiles)
	}
	in := bufio.NewReader(io.NewSectionReader(r, x.at, x.size))
	var out []indexEntry
	used := int64(0)
	for range x.files {
		b := make([]byte, indexSize)
		if _, err := io.ReadFull(in, b); err != nil || binary.LittleEndian.Uint32(b) != indexSignature {
			return nil, errors.New("the index of the archive has fewer entries than it says")
		}
		le := binary.LittleEndian
		n, extra, comment := int(le.Uint16(b[28:])), int(le.Uint16(b[30:])), int(le.Uint16(b[32:]))
		rest := make([]byte, n+extra+comment)
		if _, err := io.ReadFull(in, rest); err != nil {
			return nil, errors.New("the index of the archive is cut off")
		}
		used += int64(len(b) + len(rest))
		e := indexEntry{
			name: string(rest[:n]), flags: le.Uint16(b[8:]), method: le.Uint16(b[10:]), time: le.Uint16(b[12:]), date: le.Uint16(b[14:]), crc: le.Uint32(b[16:]),
			packed: uint64(le.Uint32(b[20:])), size: uint64(le.Uint32(b[24:])), offset: uint64(le.Uint32(b[42:])),
		}
		problem(e.name, e.takeExtras(rest[n:n+extra]))
		problem(e.name, e.harmless(le.Uint32(b[38:]), b[5], le.Uint16(b[6:]), le.Uint16(b[34:]), comment))
		out = append(out, e)
	}
	if used != x.size {
		return nil, fmt.Errorf("the index of the archive holds %d bytes behind its last entry", x.size-used)
	}
	return out, nil
}

// harmless says what of an entry makes programs unpack something else than a file
// with that name and these bytes.
func (e indexEntry) harmless(attributes uint32, host byte, needs, disk uint16, comment int) error {
	const (
		kinds, file, folder   = 0o170000, 0o100000, 0o040000 // of Unix, in the upper half, whichever system is named
		strange               = 0o007000
		dosLabel, dosFolder   = 0x08, 0x10
		dosKnown              = 0x27 | dosFolder // read only, hidden, system, archive
		fat, unix, ntfs, vfat = 0, 3, 10, 14
		ntfsToo, macOS        = 11, 19
	)
	isFolder := strings.HasSuffix(e.name, "/")
	mode, dos := attributes>>16, attributes&0xffff
	kind := mode & kinds
	switch {
	case !slices.Contains([]byte{fat, unix, ntfs, ntfsToo, vfat, macOS}, host):
		return fmt.Errorf("comes from a system (%d) whose names and files other programs translate", host)
	case isFolder && kind != 0 && kind != folder, !isFolder && kind != 0 && kind != file, mode&strange != 0:
		return errors.New("is a link or something else that is no file; a bag holds files alone")
	case dos&^dosKnown != 0 && host != unix && host != macOS, dos&dosLabel != 0:
		return errors.New("is marked as something else than a file")
	case !isFolder && dos&dosFolder != 0:
		return errors.New("is marked as a folder and named as a file")
	case isFolder && (e.size != 0 || e.crc != 0):
		return errors.New("is called a folder and holds bytes")
	case e.flags&^flagsKnown != 0:
		return fmt.Errorf("has flags (%#04x) that are not read", e.flags)
	case e.flags&flagUTF8 == 0 && strings.ContainsFunc(e.name, func(r rune) bool { return r > '~' }):
		return errors.New("has a name that is not marked as UTF-8, so that other programs read it otherwise")
	case vmsVersion.MatchString(e.name):
		return errors.New("has a name whose end, a semicolon and digits, other programs cut off")
	case needs > 45:
		return fmt.Errorf("needs a program for version %d.%d of the format; up to 4.5 is read", needs/10, needs%10)
	case disk != 0:
		return errors.New("lies in another part of the archive")
	case comment > 0:
		return errors.New("has a comment in the archive, which nothing vouches for")
	case e.method == 0 && e.packed != e.size:
		return errors.New("is stored as it is, and yet in another size")
	}
	return nil
}

// takeExtras reads the extra fields of an entry; large sizes stand there.
func (e *indexEntry) takeExtras(b []byte) error {
	le := binary.LittleEndian
	seen := map[uint16]bool{}
	for len(b) > 0 {
		if len(b) < 4 || len(b) < 4+int(le.Uint16(b[2:])) {
			return errors.New("has extra fields that cannot be read")
		}
		id, data := le.Uint16(b), b[4:4+int(le.Uint16(b[2:]))]
		b = b[4+len(data):]
		if !slices.Contains(harmlessExtras, id) {
			return fmt.Errorf("has an extra field (%#04x) by which other programs may unpack it otherwise, as under another name", id)
		}
		if seen[id] {
			return fmt.Errorf("has the extra field %#04x twice", id)
		}
		seen[id] = true
		if id != extraSizes {
			continue
		}
		for _, v := range []*uint64{&e.size, &e.packed, &e.offset} {
			if *v != 0xffffffff {
				continue
			}
			if len(data) < 8 {
				return errors.New("has a large size that cannot be read")
			}
			*v, data = le.Uint64(data), data[8:]
		}
		if len(data) > 0 {
			return errors.New("has more large sizes than it needs")
		}
	}
	return nil
}

// checkLocal holds what stands before and behind the bytes of a file against the
// index, and gives where it ends.
func (e indexEntry) checkLocal(r io.ReaderAt, at, limit int64) (end int64, err error) {
	le := binary.LittleEndian
	b := make([]byte, localSize)
	if at > limit-localSize {
		return 0, errors.New("does not lie where the archive's index says")
	}
	if _, err := r.ReadAt(b, at); err != nil || le.Uint32(b) != localSignature {
		return 0, errors.New("does not lie where the archive's index says")
	}
	rest := make([]byte, int(le.Uint16(b[26:]))+int(le.Uint16(b[28:])))
	if _, err := r.ReadAt(rest, at+localSize); err != nil {
		return 0, errors.New("does not lie where the archive's index says")
	}
	name, extras := string(rest[:le.Uint16(b[26:])]), rest[le.Uint16(b[26:]):]
	if name != e.name {
		return 0, fmt.Errorf("is called %s where it lies in the archive, so that other programs unpack it under that name", shown(name))
	}
	if le.Uint16(b[4:]) > 45 || le.Uint16(b[6:]) != e.flags || le.Uint16(b[8:]) != e.method || le.Uint16(b[10:]) != e.time || le.Uint16(b[12:]) != e.date {
		return 0, errors.New("is described otherwise where it lies in the archive than in the index")
	}
	local := indexEntry{packed: uint64(le.Uint32(b[18:])), size: uint64(le.Uint32(b[22:]))}
	if err := local.takeExtras(extras); err != nil {
		return 0, err
	}
	crc := le.Uint32(b[14:])
	behind := e.flags&flagSizesBehind != 0
	same := crc == e.crc && local.packed == e.packed && local.size == e.size
	if !same && !(behind && crc == 0 && local.packed == 0 && local.size == 0) {
		return 0, errors.New("has another size or checksum where it lies in the archive than in the index")
	}
	data := at + localSize + int64(len(rest))
	if e.packed > uint64(limit-data) {
		return 0, errors.New("reaches into the archive's index")
	}
	end = data + int64(e.packed)
	if behind {
		return e.checkBehind(r, end, limit)
	}
	return end, nil
}

// checkBehind reads the sizes that stand behind the bytes of a file: with or without
// their signature, of 4 or of 8 bytes.
func (e indexEntry) checkBehind(r io.ReaderAt, at, limit int64) (int64, error) {
	le := binary.LittleEndian
	small := le.AppendUint32(le.AppendUint32(le.AppendUint32(nil, e.crc), uint32(e.packed)), uint32(e.size))
	large := le.AppendUint64(le.AppendUint64(le.AppendUint32(nil, e.crc), e.packed), e.size)
	sign := le.AppendUint32(nil, dataSignature)
	forms := [][]byte{slices.Concat(sign, large), slices.Concat(sign, small), large, small}
	if e.packed < 0xffffffff && e.size < 0xffffffff {
		forms = [][]byte{slices.Concat(sign, small), small}
	}
	for _, form := range forms {
		have := make([]byte, len(form))
		if at+int64(len(form)) > limit {
			continue
		}
		if _, err := r.ReadAt(have, at); err == nil && string(have) == string(form) {
			return at + int64(len(form)), nil
		}
	}
	return 0, errors.New("has another size or checksum behind its bytes than in the index")
}
