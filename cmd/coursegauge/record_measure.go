package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"coursegauge/calibrate/lens"
	"coursegauge/calibrate/print"
	"coursegauge/report/inspection"
	"coursegauge/report/judge"
	"coursegauge/report/record"
	"coursegauge/report/schedule"
	"coursegauge/vision"
	"coursegauge/vision/photo"
)

// measurerOf measures photos by the settings that a record holds.
func measurerOf(s record.MeasuringSettings) (record.Measurer, error) {
	sch, err := schedule.Read(s.Schedule.Name, s.Schedule.Data)
	if err != nil {
		return nil, err
	}
	k := &known{}
	if s.Cards != nil {
		f, err := print.Parse(s.Cards.Data)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", s.Cards.Name, err)
		}
		k.cards = f.Prints()
	}
	for _, c := range s.Profiles {
		p, err := lens.Parse(c.Data)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.Name, err)
		}
		k.profiles = append(k.profiles, namedProfile{p, c.Name})
	}
	return func(ctx context.Context, file string, data []byte) (inspection.Photo, error) {
		return measureKept(ctx, sch, k, file, data)
	}, nil
}

// measureKept measures one photo from its bytes, as inspect does.
func measureKept(ctx context.Context, s schedule.Schedule, k *known, file string, data []byte) (p inspection.Photo, err error) {
	defer func() {
		if what := recover(); what != nil {
			err = fmt.Errorf("internal fault: %v", what)
		}
	}()
	sum := sha256.Sum256(data)
	source := inspection.Source{File: file, SHA256: hex.EncodeToString(sum[:]), Facts: photo.ReadFacts(data)}
	result := &vision.Result{}
	picture, err := photo.Decode(data, photo.Options{})
	if err != nil {
		result.Refusal = unreadable(err)
		return inspection.Build(source, s, result, judge.Judge(s, result)), nil
	}
	defer picture.Close()
	source.Width, source.Height = picture.Width(), picture.Height()
	result, err = vision.Inspect(ctx, picture, vision.Options{Product: s.Product(), Known: k.of(picture)})
	if err != nil {
		return inspection.Photo{}, err
	}
	return inspection.Build(source, s, result, judge.Judge(s, result)), nil
}
