// Package explain finds which setting of a meter explains its pairs of level and flow.
package explain

// Pair is a level and a flow logged at one instant.
type Pair struct {
	At   int64   // ns since 1970
	Head float64 // m, that the recorded settings make of the level, before any cap, floor or cut-off
	Flow float64 // m³/s, as logged
}

// Record is what is known of the meter and its log.
type Record struct {
	Pairs                            []Pair         // in the order of time, all of them
	Interval                         int64          // ns, usual step
	LevelStep, FlowStep              float64        // m, m³/s; 0 when not known
	Kind                             string         // device kind of the site file
	Dimensions                       map[string]any // its keys as device.Build takes them
	MaximumHead, MaximumFlow, CutOff float64        // recorded, m and m³/s; +Inf, +Inf, 0 where there are none
	FlowFactor                       float64        // recorded factor on the flow, 1 for none
	Means                            bool           // figures are means over the interval
}

// Verdict grades log against settings.
type Verdict int

// The verdicts.
const (
	Same Verdict = iota
	AnotherEquation
	SettingDiffers
	CannotCompare
)

// Explanation is one way to make the logged flow of the level: a setting, or two, or one that changed in time.
type Explanation struct {
	Names               []string                   // of the catalogue, sorted
	Values              []float64                  // SI or plain, one a name
	Low, High           []float64                  // interval of each, 95 %
	Snapped             []string                   // the catalogue value each is taken for, "" for none
	Equation            string                     // of the device under which it fits best
	Since               int64                      // when it began; 0 from the first pair on
	SinceLow, SinceHigh int64                      // interval of the onset
	Score               float64                    // of the fit, less is better
	Volume              float64                    // m³, logged less what the recorded settings make
	Flow                func(head float64) float64 // what the meter shows under it
}

// Finding is the answer.
type Finding struct {
	Verdict Verdict
	Why     string        // of CannotCompare
	Best    []Explanation // the best first, its twins directly behind it
	Twins   int           // how many of Best fit as well as the first
	Lag     float64       // s, by which flow follows level
	Unlike  float64       // what is left of the disagreement, part of the volume
}
