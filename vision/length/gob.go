package length

import (
	"encoding/binary"
	"fmt"
	"math"
)

// MarshalBinary writes a length down exactly: value, own uncertainties by
// source, effects of the shared inputs, as IEEE 754 doubles, little end first.
func (m Measured) MarshalBinary() ([]byte, error) {
	out := make([]byte, 0, 8*(1+len(m.own)+len(m.shared)))
	put := func(v float64) { out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v)) }
	put(float64(m.value))
	for _, u := range m.own {
		put(u)
	}
	for _, e := range m.shared {
		put(e)
	}
	return out, nil
}

// UnmarshalBinary reads what MarshalBinary wrote.
func (m *Measured) UnmarshalBinary(data []byte) error {
	least := 8 * (1 + len(m.own))
	if len(data) < least || len(data)%8 != 0 {
		return fmt.Errorf("length: %d bytes; %d and whole numbers of 8 are needed", len(data), least)
	}
	at := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(data[8*i:])) }
	*m = Measured{value: MM(at(0))}
	for i := range m.own {
		m.own[i] = at(1 + i)
	}
	for i := 1 + len(m.own); i < len(data)/8; i++ {
		m.shared = append(m.shared, at(i))
	}
	return nil
}
