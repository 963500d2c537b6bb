package app

// SchemaDay names the shape of day.json. It changes when a key is renamed,
// removed or changes its unit, never when one is added.
const SchemaDay = "bittern.day/1"

// A Day is one flight over one field with one question, as day.json holds it.
// What is not known is null. Acres are on the ellipsoid and never rounded.
type Day struct {
	Schema       string        `json:"schema"`
	Program      string        `json:"program"`
	Question     string        `json:"question"`
	Flown        *string       `json:"flown"`
	Treated      *string       `json:"treated"`
	BeforeFlown  *string       `json:"before_flown"`
	Answer       []string      `json:"answer"`
	Inputs       []Input       `json:"inputs"`
	Options      Options       `json:"options"`
	Imagery      Imagery       `json:"imagery"`
	Grid         GridPlace     `json:"grid"`
	Field        Field         `json:"field"`
	LookedAt     LookedAt      `json:"looked_at"`
	LeftOut      []LeftOut     `json:"left_out"`
	Checks       []Check       `json:"checks"`
	Levees       Levees        `json:"levees"`
	Trends       []Trend       `json:"trends"`
	Suspects     []Suspect     `json:"suspects"`
	Killed       AcresOnly     `json:"killed"`
	Context      []Context     `json:"context"`
	Before       *Before       `json:"before"` // null without an earlier flight that the question uses
	Skips        *Skips        `json:"skips"`
	SmallestSeen *SmallestSeen `json:"smallest_seen"`
	Nitrogen     *Nitrogen     `json:"nitrogen"`
	Harvest      *Harvest      `json:"harvest"`
	Ground       *GroundTable  `json:"ground"`
	Blocks       []Block       `json:"blocks"`
	Headings     []Heading     `json:"headings"`
	Reckoning    *Reckoning    `json:"reckoning"`
	Walk         *struct{}     `json:"walk"`
	Job          *Job          `json:"job"`
	Warnings     []Warning     `json:"warnings"`
	Outputs      []string      `json:"outputs"` // every file that the run wrote, so that a later run may replace them
	Timings      []Timing      `json:"timings"`
}

// An Input is one file that the day rests on.
type Input struct {
	Role   string `json:"role"`
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Options are the plain values that were given on the command line.
type Options struct {
	SwathFt         *float64 `json:"swath_ft"`
	SprayHeadingDeg *float64 `json:"spray_heading_deg"`
	Units           string   `json:"units"`
	Bands           []string `json:"bands"`
}

// Imagery says what the pictures are.
type Imagery struct {
	PixelM      float64 `json:"pixel_m"`
	CoversShare float64 `json:"covers_share"`
	Sensor      string  `json:"sensor"`
	DisplayGain float64 `json:"display_gain"` // linear light is multiplied with it before it is shown
	Bands       []Band  `json:"bands"`

	Indices []IndexShown   `json:"indices"` // that the bands allow
	Before  *BeforePicture `json:"before"`  // null without an earlier flight
}

// A BeforePicture says how the earlier flight's picture is shown, and how far it
// lies off the day's: 0 where nothing showed it.
type BeforePicture struct {
	DisplayGain float64 `json:"display_gain"`
	EastM       float64 `json:"east_m"`
	NorthM      float64 `json:"north_m"`
}

// A Band is one spectral channel and how it was recognised.
type Band struct {
	Name  string `json:"name"`
	File  string `json:"file"`
	Index int    `json:"index"` // 1-based, in its file
	How   string `json:"how"`
}

// GridPlace is the grid of cells.
type GridPlace struct {
	CRS     string     `json:"crs"`
	CellM   float64    `json:"cell_m"`
	Origin  [2]float64 `json:"origin"` // m, the north-west corner
	Columns int        `json:"columns"`
	Rows    int        `json:"rows"`
}

// Field is the ground within the boundary.
type Field struct {
	Name  string  `json:"name"`
	Acres float64 `json:"acres"`
}

// LookedAt is the ground that the answer speaks of, and what the picture shows of
// it before anything is held against anything: crop, no crop, open water, or
// nothing (that differs from place to place).
type LookedAt struct {
	Acres float64 `json:"acres"`
	Shows string  `json:"shows"`
}

// AcresOnly is an amount of ground.
type AcresOnly struct {
	Acres float64 `json:"acres"`
}

// Context is ground that stands out with a look that is none of the question's,
// and is in no suspect.
type Context struct {
	Look  string  `json:"look"`
	Acres float64 `json:"acres"`
}

// LeftOut is ground that no answer speaks of.
type LeftOut struct {
	Reason string  `json:"reason"`
	Acres  float64 `json:"acres"`
}

// A Check is one paddy and its norm.
type Check struct {
	ID       string             `json:"id"`
	Acres    float64            `json:"acres"`
	Norm     map[string]float64 `json:"norm"`
	Spread   map[string]float64 `json:"spread"`
	Standing *Standing          `json:"standing"`
}

// Standing is how a check compares with its peers.
type Standing struct {
	Spreads float64 `json:"spreads"`
	Apart   bool    `json:"apart"`
	Look    *string `json:"look"`
}

// A Trend is crop that changes with the distance from an edge or an inlet.
type Trend struct {
	From           string  `json:"from"` // "west edge", "inlet"
	Look           string  `json:"look"`
	HalfDistanceFt float64 `json:"half_distance_ft"`
	Acres          float64 `json:"acres"` // beyond one spread
}

// Levees says where the levee lines came from and how long they are.
type Levees struct {
	Found     string       `json:"found"`
	Feet      float64      `json:"feet"`
	WeedsFeet *float64     `json:"weeds_feet"` // null where it could not be told
	Weeds     []LeveeWeeds `json:"weeds"`
}

// LeveeWeeds is how much of one levee looks like escapes.
type LeveeWeeds struct {
	Levee string  `json:"levee"` // its id in levees.geojson
	Feet  float64 `json:"feet"`
}

// A Suspect is a patch that nobody has walked yet.
type Suspect struct {
	ID              string   `json:"id"`
	Letter          *string  `json:"letter"`
	Check           string   `json:"check"`
	Acres           float64  `json:"acres"`
	Severity        string   `json:"severity"`
	Look            string   `json:"look"`
	State           string   `json:"state"`
	Before          *string  `json:"before"` // "still there", "newly green"; null without an earlier flight of that ground
	Lon             float64  `json:"lon"`
	Lat             float64  `json:"lat"`
	Place           string   `json:"place"`
	Hints           []Hint   `json:"hints"`
	Walked          Walked   `json:"walked"`
	BreakEvenChance *float64 `json:"break_even_chance"`
	Verdict         *string  `json:"verdict"`
	Probability     *float64 `json:"probability"`
}

// A Hint is one cause that a suspect is consistent with.
type Hint struct {
	Cause   string   `json:"cause"`
	For     []string `json:"for"`
	Against []string `json:"against"`
	LookFor string   `json:"look_for"`
}

// Walked counts stops on foot.
type Walked struct {
	Stops int `json:"stops"`
	Found int `json:"found"`
}

// Skips are strips that passes missed, or why none are named.
type Skips struct {
	Verdict    string      `json:"verdict"`     // named, none, cannot tell
	HeadingDeg *float64    `json:"heading_deg"` // of the strips, 0 to 180; null when none were seen
	SpacingFt  *float64    `json:"spacing_ft"`
	Why        string      `json:"why"`
	Strips     []SkipStrip `json:"strips"` // from the left as one looks along the heading; only when named
}

// A SkipStrip is one strip.
type SkipStrip struct {
	ID       string  `json:"id"`
	WidthFt  float64 `json:"width_ft"`
	LengthFt float64 `json:"length_ft"`
	Acres    float64 `json:"acres"`
}

// SmallestSeen is what planted patches say about the flight. Cover is the part of the ground that the weeds hide in those
// that are counted, or the part of the full effect of what is asked; 0 where it is not known.
type SmallestSeen struct {
	Acres      *float64   `json:"acres"`
	AsStrongAs *string    `json:"as_strong_as"`
	Found      int        `json:"found"`
	Planted    int        `json:"planted"`
	Cover      float64    `json:"cover"`
	Table      []Planting `json:"table"`
}

// A Planting is one size and strength of planted patches.
type Planting struct {
	Acres    float64 `json:"acres"`
	Strength float64 `json:"strength"`
	Cover    float64 `json:"cover"`
	Found    int     `json:"found"`
	Planted  int     `json:"planted"`
}

// A Block is the runs that are flown together.
type Block struct {
	ID             string       `json:"id"`
	Applicator     string       `json:"applicator"`
	Acres          float64      `json:"acres"`
	ValveOnAcres   float64      `json:"valve_on_acres"`
	Runs           int          `json:"runs"`
	HeadingDeg     float64      `json:"heading_deg"`
	LongestRunFt   float64      `json:"longest_run_ft"`
	ShortestOpenS  float64      `json:"shortest_open_s"`
	WindNotFromDeg [][2]float64 `json:"wind_not_from_deg"`
}

// A Heading is one of the good headings that an applicator may choose from.
type Heading struct {
	Applicator   string   `json:"applicator"`
	HeadingDeg   float64  `json:"heading_deg"`
	Runs         int      `json:"runs"`
	ValveOnAcres float64  `json:"valve_on_acres"`
	CostDollars  *float64 `json:"cost_dollars"`
	Minutes      *float64 `json:"minutes"`
}

// A Reckoning is the money.
type Reckoning struct {
	Alternatives []Alternative `json:"alternatives"`
	Choice       *string       `json:"choice"`
	Flips        []Flip        `json:"flips"`
}

// An Alternative is one thing that could be done.
type Alternative struct {
	ID           string      `json:"id"`
	Name         string      `json:"name"`
	TreatedAcres float64     `json:"treated_acres"`
	BilledAcres  *float64    `json:"billed_acres"` // that the charge by the acre is made out for
	CostDollars  *float64    `json:"cost_dollars"`
	LossDollars  LossDollars `json:"loss_dollars"`
	Minutes      *float64    `json:"minutes"`
	Proven       bool        `json:"proven"`
}

// LossDollars is what the weeds left alive cost: low when no suspect is real,
// high when all are; mid is null until a chance is earned by walking.
type LossDollars struct {
	Low  *float64 `json:"low"`
	Mid  *float64 `json:"mid"`
	High *float64 `json:"high"`
}

// A Flip is a value at which the choice changes.
type Flip struct {
	What string  `json:"what"`
	At   float64 `json:"at"` // the value at which it changes
	From string  `json:"from"`
	To   string  `json:"to"`
}

// A Job is one order to an applicator.
type Job struct {
	State    string    `json:"state"`
	WhyDraft []string  `json:"why_draft"`
	Revision int       `json:"revision"`
	Code     string    `json:"code"`
	Products []Product `json:"products"`
	Gallons  *float64  `json:"gallons"`
	Loads    *Loads    `json:"loads"`
	Limits   []string  `json:"limits"`
}

// A Product is one line of the tank mix, as typed.
type Product struct {
	Name         string   `json:"name"`
	Registration string   `json:"registration"`
	Rate         *float64 `json:"rate"`
	RateUnit     string   `json:"rate_unit"`
	Total        *float64 `json:"total"`
	PerLoad      *float64 `json:"per_load"`
	TotalUnit    string   `json:"total_unit"`
}

// Loads are equal tankfuls.
type Loads struct {
	Count          int     `json:"count"`
	GallonsPerLoad float64 `json:"gallons_per_load"`
	AcresPerLoad   float64 `json:"acres_per_load"`
}

// A Warning is a doubt: what could change the answer and what would settle it.
type Warning struct {
	About  string `json:"about"`
	Says   string `json:"says"`
	Settle string `json:"settle"`
}

// A Timing is what one stage took.
type Timing struct {
	Stage   string  `json:"stage"`
	WallS   float64 `json:"wall_s"`
	CPUS    float64 `json:"cpu_s"`
	PeakMiB float64 `json:"peak_mib"`
}
