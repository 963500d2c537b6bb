package app

import (
	"testing"

	"bittern/internal/unit"
)

// lettered makes a day of suspects A, B, ... with the given acres and verdicts.
func lettered(acres []float64, verdicts []string) *Day {
	d := &Day{Question: "escapes", Field: Field{Acres: 118}, Reckoning: &Reckoning{}}
	for i, a := range acres {
		letter, verdict := string(rune('A'+i)), verdicts[i]
		d.Suspects = append(d.Suspects, Suspect{Letter: &letter, Acres: a, Verdict: &verdict})
	}
	return d
}

func TestAnswerNamesWhereToWalkFirst(t *testing.T) {
	for _, tc := range []struct {
		day  *Day
		want [2]string
	}{
		{
			lettered([]float64{1.2, 0.1, 3.0}, []string{verdictWalk, verdictNot, verdictWalk}),
			[2]string{"Three patches stand out, 4.3 acres of 118.0.", "Walk A and C; the rest is the same choice either way."},
		},
		{
			lettered([]float64{0.2, 0.1, 3.0, 0.4, 1.5, 0.1}, []string{verdictWalk, verdictWalk, verdictWalk, verdictWalk, verdictWalk, verdictNot}),
			[2]string{"Six patches stand out, 5.3 acres of 118.0.", "Walk C, D and E first, then two others; the rest is the same choice either way."},
		},
		{
			lettered([]float64{0.01}, []string{verdictNot}),
			[2]string{"One patch stands out, 0.01 acre of 118.0.", "No walk would change the choice: treating these costs more than it can save."},
		},
	} {
		got := tc.day.answer(unit.US)
		if got[0] != tc.want[0] || got[1] != tc.want[1] {
			t.Errorf("got %q, want %q", got, tc.want)
		}
	}
}

func TestChancesAreSaidAsOneInSo(t *testing.T) {
	for p, want := range map[float64]string{
		0.17:  "pays if at least 1 in 5 is real", // 1 in 5.9: never said as less likely than it must be
		0.62:  "pays if at least 7 in 10 are real",
		1.3:   "costs more than it can save",
		0.004: "pays if 1 in 100 is real",
	} {
		if got := chanceWords(p); got != want {
			t.Errorf("%g: got %q, want %q", p, got, want)
		}
	}
}
