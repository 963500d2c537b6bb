package main

import (
	"database/sql"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A table is what is written.
type table struct {
	version     string // of the registry
	geographics []geographic
	conversions []conversion
	projecteds  []projected
	aliases     [][2]int // code, code that it is read as
	refusals    []refusal
}

type geographic struct {
	code, datumCode int
	name, datum     string
}

type conversion struct {
	code   int
	method string
	shape  map[string]float64 // by field of crs's shape: degrees, metres
}

type projected struct {
	code, conversion  int
	name, datum, unit string
}

type refusal struct {
	code         int
	name, method string
}

// datums are what the geographic systems stand on, by the start of their names
// in the registry. The first that fits counts; an empty one is not offered.
var datums = []struct{ prefix, datum string }{
	{"WGS 84", "datumWGS84"},
	{"WGS 72BE", "datumWGS72BE"},
	{"WGS 72", "datumWGS72"},
	{"NAD83", "datumNAD83"},
	{"NAD27(", ""},
	{"NAD27 ", ""},
	{"NAD27", "datumNAD27"},
	{"Old Hawaiian", "datumOldHawaiian"},
	{"Puerto Rico", "datumPuertoRico"},
	{"American Samoa 1962", "datumAmericanSamoa"},
	{"Guam 1963", "datumWGS84"}, // its only grids are of methods that are refused
}

func datumOf(name string) string {
	for _, d := range datums {
		if strings.HasPrefix(name, d.prefix) {
			return d.datum
		}
	}
	return ""
}

// methods are the projections that crs knows, by EPSG's code of the method.
var methods = map[int]string{
	9807: "transverseMercator",
	9801: "lambert1", 9802: "lambert2", 1051: "lambertMichigan",
	9822: "albers",
	9810: "polarA", 9829: "polarB",
	9812: "obliqueA", 9815: "obliqueB",
	9804: "mercatorA", 9805: "mercatorB", 1024: "webMercator",
}

// fields are the fields of crs's shape, by EPSG's codes of the parameters.
var fields = map[int]string{
	8801: "lat0", 8821: "lat0", 8811: "lat0",
	8802: "lon0", 8822: "lon0", 8812: "lon0", 8833: "lon0",
	8823: "lat1", 8832: "lat1", 8824: "lat2",
	8805: "k0", 8815: "k0", 1038: "k0",
	8813: "azimuth", 8814: "skew",
	8806: "fe", 8826: "fe", 8816: "fe",
	8807: "fn", 8827: "fn", 8817: "fn",
}

// units are the units of length that crs knows, by EPSG's codes.
var units = map[int]string{9001: "meter", 9002: "foot", 9003: "surveyFoot"}

const supported = `(name LIKE 'WGS 84%' OR name LIKE 'WGS 72%' OR name LIKE 'NAD83%' OR name = 'NAD27' OR name IN
 ('Old Hawaiian', 'Puerto Rico', 'American Samoa 1962', 'Guam 1963'))`

func readTable(db *sql.DB) (*table, error) {
	t := &table{}
	var epsg, date, proj string
	if err := db.QueryRow(`SELECT (SELECT value FROM metadata WHERE key = 'EPSG.VERSION'),
 (SELECT value FROM metadata WHERE key = 'EPSG.DATE'), (SELECT value FROM metadata WHERE key = 'PROJ.VERSION')`).Scan(&epsg, &date, &proj); err != nil {
		return nil, err
	}
	t.version = fmt.Sprintf("EPSG %s of %s, as shipped by PROJ %s", epsg, date, proj)
	for _, read := range []func(*sql.DB) error{t.readGeographics, t.readProjecteds, t.readConversions, t.readAliases} {
		if err := read(db); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// each calls row for every row of the answer.
func each(db *sql.DB, query string, row func(scan func(...any) error) error) error {
	rows, err := db.Query(query)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (t *table) readGeographics(db *sql.DB) error {
	return each(db, `SELECT code, datum_code, name FROM geodetic_crs WHERE auth_name = 'EPSG' AND type LIKE 'geographic%'
 AND deprecated = 0 AND name <> 'Guam 1963' AND `+supported+` ORDER BY code`, func(scan func(...any) error) error {
		var g geographic
		if err := scan(&g.code, &g.datumCode, &g.name); err != nil {
			return err
		}
		g.datum = datumOf(g.name)
		t.geographics = append(t.geographics, g)
		return nil
	})
}

// projectedQuery finds every grid on the datums. Whatever order the registry gives
// its axes, files have x as the east.
const projectedQuery = `SELECT p.code, p.name, g.name, c.code, c.method_code, c.method_name, min(a.uom_code),
 e.south_lat, e.north_lat, e.west_lon, e.east_lon
FROM projected_crs p
JOIN (SELECT auth_name, code, name FROM geodetic_crs WHERE auth_name = 'EPSG' AND ` + supported + `) g
 ON p.geodetic_crs_auth_name = g.auth_name AND p.geodetic_crs_code = g.code
JOIN conversion c ON c.auth_name = p.conversion_auth_name AND c.code = p.conversion_code
JOIN axis a ON a.coordinate_system_auth_name = p.coordinate_system_auth_name AND a.coordinate_system_code = p.coordinate_system_code
JOIN usage u ON u.object_table_name = 'projected_crs' AND u.object_auth_name = 'EPSG' AND u.object_code = p.code
JOIN extent e ON e.auth_name = u.extent_auth_name AND e.code = u.extent_code
WHERE p.auth_name = 'EPSG' AND p.deprecated = 0 GROUP BY p.code ORDER BY p.code`

func (t *table) readProjecteds(db *sql.DB) error {
	return each(db, projectedQuery, func(scan func(...any) error) error {
		var p projected
		var base, methodName string
		var method, unit int
		var e extent
		if err := scan(&p.code, &p.name, &base, &p.conversion, &method, &methodName, &unit, &e.south, &e.north, &e.west, &e.east); err != nil {
			return err
		}
		p.datum, p.unit = e.region(datumOf(base), p.name), units[unit]
		if _, ok := methods[method]; !ok || p.unit == "" {
			t.refusals = append(t.refusals, refusal{p.code, p.name, methodName})
			return nil
		}
		t.projecteds = append(t.projecteds, p)
		return nil
	})
}

// An extent is an area of use, degrees.
type extent struct{ south, north, west, east float64 }

// region is the datum with the mean shift for the region that the area of use
// lies in: NAD27 has one for Alaska and one for Canada.
func (e extent) region(datum, name string) string {
	east := e.east
	if east < e.west {
		east += 360
	}
	middle := math.Remainder((e.west+east)/2, 360)
	switch {
	case datum != "datumNAD27":
		return datum
	case strings.Contains(name, "Alaska"), e.north > 50 && (middle < -138 || middle > 0):
		return "datumNAD27Alaska"
	case e.south > 41 && e.north > 50:
		return "datumNAD27Canada"
	}
	return datum
}

func (t *table) readConversions(db *sql.DB) error {
	wanted := map[int]bool{}
	for _, p := range t.projecteds {
		wanted[p.conversion] = true
	}
	columns := ""
	for i := 1; i <= 7; i++ {
		columns += fmt.Sprintf(", ifnull(param%d_code, 0), ifnull(param%d_value, 0), ifnull(param%d_uom_code, 0)", i, i, i)
	}
	return each(db, "SELECT code, method_code"+columns+" FROM conversion WHERE auth_name = 'EPSG' ORDER BY code", func(scan func(...any) error) error {
		var code, method int
		var param, unit [7]int
		var value [7]float64
		into := []any{&code, &method}
		for i := range param {
			into = append(into, &param[i], &value[i], &unit[i])
		}
		if err := scan(into...); err != nil || !wanted[code] {
			return err
		}
		c := conversion{code, methods[method], map[string]float64{}}
		for i, p := range param {
			if p == 0 {
				continue
			}
			v, err := inBase(value[i], unit[i])
			if err != nil || fields[p] == "" {
				return fmt.Errorf("conversion %d, parameter %d: %w", code, p, err)
			}
			c.shape[fields[p]] = v
		}
		t.conversions = append(t.conversions, c)
		return nil
	})
}

// inBase is a value of the registry in degrees, metres or as a pure number.
func inBase(v float64, unit int) (float64, error) {
	switch unit {
	case 9001, 9102, 9201:
		return v, nil
	case 9202: // by its name parts per million, but the two rows that have it give the factor itself
		return v, nil
	case 9002:
		return v * 0.3048, nil
	case 9003:
		return v * 1200 / 3937, nil
	case 9110:
		return sexagesimal(v)
	}
	return 0, fmt.Errorf("unit %d is not known", unit)
}

// sexagesimal is an angle that is written DDD.MMSSsss, in degrees.
func sexagesimal(v float64) (float64, error) {
	whole, fraction, _ := strings.Cut(strconv.FormatFloat(math.Abs(v), 'f', -1, 64), ".")
	fraction += "0000"
	var parts [3]float64
	for i, s := range []string{whole, fraction[:2], fraction[2:4] + "." + fraction[4:]} {
		n, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return 0, err
		}
		parts[i] = n
	}
	return math.Copysign(parts[0]+(parts[1]+parts[2]/60)/60, v), nil
}

// aliasQuery finds the systems with a height and their horizontal parts, and
// the systems that were withdrawn, mostly for an error, in favour of one other.
const aliasQuery = `SELECT code, horiz_crs_code FROM compound_crs
 WHERE auth_name = 'EPSG' AND horiz_crs_auth_name = 'EPSG' AND deprecated = 0
UNION
SELECT deprecated_code, max(replacement_code) FROM deprecation
 WHERE table_name = 'projected_crs' AND deprecated_auth_name = 'EPSG' AND replacement_auth_name = 'EPSG'
 GROUP BY deprecated_code HAVING count(*) = 1
ORDER BY 1`

func (t *table) readAliases(db *sql.DB) error {
	return each(db, aliasQuery, func(scan func(...any) error) error {
		var pair [2]int
		if err := scan(&pair[0], &pair[1]); err != nil {
			return err
		}
		if t.offers(pair[1]) && !t.offers(pair[0]) {
			t.aliases = append(t.aliases, pair)
		}
		return nil
	})
}

func (t *table) offers(code int) bool {
	_, g := slices.BinarySearchFunc(t.geographics, code, func(g geographic, c int) int { return g.code - c })
	_, p := slices.BinarySearchFunc(t.projecteds, code, func(p projected, c int) int { return p.code - c })
	return g || p
}
