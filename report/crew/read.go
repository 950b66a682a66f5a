package crew

import (
	"fmt"
	"path"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"coursegauge/report/yamltext"
)

// lastCard is the highest number of a card.
const lastCard = 27

const form = `as in "cards: {3: first crew}"`

// reader collects the crews of one file.
type reader struct {
	file string
	list List
}

// Read reads a file of crews; name is the file's name for messages. The error
// is a *yamltext.Error with the first fault found.
func Read(name string, data []byte) (List, error) {
	r := reader{name, List{map[int]string{}, map[string]string{}, map[string]string{}}}
	body, err := yamltext.Parse(name, "a list of crews", data)
	if err != nil {
		return List{}, err
	}
	if body == nil {
		return List{}, &yamltext.Error{File: name, Line: 1, Column: 1, Text: "no crews are named; write them under cards, folders or devices, " + form}
	}
	if err := r.pairs(body, r.section); err != nil {
		return List{}, err
	}
	return r.list, nil
}

// pairs hands on each "key: value" of a mapping.
func (r *reader) pairs(node ast.Node, take func(key string, at, value ast.Node) error) error {
	m, ok := node.(*ast.MappingNode)
	if !ok {
		return yamltext.At(r.file, node, "here stands no list of keys; write it %s", form)
	}
	seen := map[string]bool{}
	for _, p := range m.Values {
		key, ok := text(p.Key)
		if !ok || key == "" {
			return yamltext.At(r.file, p.Key, "this is no key; write it %s", form)
		}
		if seen[key] {
			return yamltext.At(r.file, p.Key, "%q stands twice; keep one", short(key))
		}
		seen[key] = true
		if err := take(key, p.Key, p.Value); err != nil {
			return err
		}
	}
	return nil
}

// section takes one of the three groups.
func (r *reader) section(key string, at, value ast.Node) error {
	put, ok := map[string]func(key, crew string) error{"cards": r.card, "folders": r.folder, "devices": r.device}[key]
	if !ok {
		return yamltext.At(r.file, at, "unknown key %q; legal keys are cards, folders, devices", short(key))
	}
	return r.pairs(value, func(key string, at, value ast.Node) error {
		crew, ok := text(value)
		if !ok || crew == "" {
			return yamltext.At(r.file, at, "%q needs the name of one crew, %s", short(key), form)
		}
		if err := put(key, crew); err != nil {
			return yamltext.At(r.file, at, "%s", err)
		}
		return nil
	})
}

func (r *reader) card(key, crew string) error {
	n, err := strconv.Atoi(key)
	if err != nil || n < 0 || n > lastCard {
		return fmt.Errorf("card %q: cards have numbers from 0 to %d", short(key), lastCard)
	}
	if r.list.cards[n] != "" {
		return fmt.Errorf("card %d stands twice; keep one", n)
	}
	r.list.cards[n] = crew
	return nil
}

func (r *reader) folder(key, crew string) error {
	clean := strings.Trim(path.Clean(strings.ReplaceAll(key, `\`, "/")), "/")
	if clean == "" || clean == "." || strings.HasPrefix(clean, "..") {
		return fmt.Errorf("folder %q: give the name of a folder, or some of its path, as in north or lot-7/north", short(key))
	}
	if r.list.folders[clean] != "" {
		return fmt.Errorf("folder %q stands twice; keep one", short(key))
	}
	r.list.folders[clean] = crew
	return nil
}

func (r *reader) device(key, crew string) error {
	if r.list.devices[fold(key)] != "" {
		return fmt.Errorf("device %q stands twice; keep one", short(key))
	}
	r.list.devices[fold(key)] = crew
	return nil
}

// text is a single value as it stands in the file.
func text(n ast.Node) (string, bool) {
	switch v := n.(type) {
	case *ast.StringNode:
		return strings.Join(strings.Fields(v.Value), " "), true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
		return v.GetToken().Value, true
	}
	return "", false
}

// short keeps a message readable whatever was typed.
func short(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}
