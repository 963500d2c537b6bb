package crs

import "slices"

// A zone is one zone of the State Plane Coordinate System of 1983, by its EPSG
// codes in metres and in U.S. survey feet (0 where there is none). Lambert's
// projection has two parallels, Transverse Mercator a scale.
type zone struct {
	meters, feet int
	name         string
	lon0, lat0   float64
	lat1, lat2   float64 // degrees; both 0 for Transverse Mercator
	k0           float64 // Transverse Mercator only
	feM, fnM     float64 // m
	feFt, fnFt   float64 // survey feet
}

// Albers' projection of the United States, EPSG:5070.
func conusAlbers() CRS {
	return CRS{
		name: "NAD83 / Conus Albers", epsg: 5070, datum: datumNAD83, method: conical, unitM: 1,
		cone: newAlbers(grs80, coneShape{lon0: -96, lat0: 23, lat1: 29.5, lat2: 45.5, k0: 1}),
	}
}

const surveyFoot = 1200. / 3937

func statePlane(code int) (CRS, bool) {
	i := slices.IndexFunc(zones[:], func(z zone) bool { return code != 0 && (z.meters == code || z.feet == code) })
	if i < 0 {
		return CRS{}, false
	}
	z := zones[i]
	c := CRS{name: "NAD83 / " + z.name, epsg: code, datum: datumNAD83, unitM: 1}
	fe, fn := z.feM, z.fnM
	if code == z.feet {
		c.name += " (ftUS)"
		c.unitM = surveyFoot
		fe, fn = z.feFt*surveyFoot, z.fnFt*surveyFoot
	}
	if z.k0 != 0 {
		c.method, c.tm = transverseMercator, newTransverse(grs80, z.lon0, z.lat0, z.k0, fe, fn)
		return c, true
	}
	c.method = conical
	c.cone = newLambert(grs80, coneShape{lon0: z.lon0, lat0: z.lat0, lat1: z.lat1, lat2: z.lat2, k0: 1, fe: fe, fn: fn})
	return c, true
}

// zones are those of the states that grow rice: Arkansas, Louisiana,
// Mississippi, Missouri, Texas and California. Others are read from a file that
// gives their parameters.
//
// Source: IOGP EPSG dataset, as PROJ 9.1 prints it.
var zones = [...]zone{
	{26951, 3433, "Arkansas North", -92, 34 + 1./3, 36 + 7./30, 34 + 14./15, 0, 400000, 0, 1312333.3333, 0},
	{26952, 3434, "Arkansas South", -92, 32 + 2./3, 34 + 23./30, 33.3, 0, 400000, 400000, 1312333.3333, 1312333.3333},
	{26981, 3451, "Louisiana North", -92.5, 30.5, 32 + 2./3, 31 + 1./6, 0, 1000000, 0, 3280833.3333, 0},
	{26982, 3452, "Louisiana South", -91 - 1./3, 28.5, 30.7, 29.3, 0, 1000000, 0, 3280833.3333, 0},
	{26994, 2254, "Mississippi East", -88 - 5./6, 29.5, 0, 0, 0.99995, 300000, 0, 984250, 0},
	{26995, 2255, "Mississippi West", -90 - 1./3, 29.5, 0, 0, 0.99995, 700000, 0, 2296583.333, 0},
	{26996, 0, "Missouri East", -90.5, 35 + 5./6, 0, 0, 0.999933333, 250000, 0, 0, 0},
	{26997, 0, "Missouri Central", -92.5, 35 + 5./6, 0, 0, 0.999933333, 500000, 0, 0, 0},
	{26998, 0, "Missouri West", -94.5, 36 + 1./6, 0, 0, 0.999941177, 850000, 0, 0, 0},
	{32137, 2275, "Texas North", -101.5, 34, 36 + 11./60, 34.65, 0, 200000, 1000000, 656166.667, 3280833.333},
	{32138, 2276, "Texas North Central", -98.5, 31 + 2./3, 33 + 29./30, 32 + 2./15, 0, 600000, 2000000, 1968500, 6561666.667},
	{32139, 2277, "Texas Central", -100 - 1./3, 29 + 2./3, 31 + 53./60, 30 + 7./60, 0, 700000, 3000000, 2296583.333, 9842500},
	{32140, 2278, "Texas South Central", -99, 27 + 5./6, 30 + 17./60, 28 + 23./60, 0, 600000, 4000000, 1968500, 13123333.333},
	{32141, 2279, "Texas South", -98.5, 25 + 2./3, 27 + 5./6, 26 + 1./6, 0, 300000, 5000000, 984250, 16404166.667},
	{26941, 2225, "California zone 1", -122, 39 + 1./3, 41 + 2./3, 40, 0, 2000000, 500000, 6561666.667, 1640416.667},
	{26942, 2226, "California zone 2", -122, 37 + 2./3, 39 + 5./6, 38 + 1./3, 0, 2000000, 500000, 6561666.667, 1640416.667},
	{26943, 2227, "California zone 3", -120.5, 36.5, 38 + 13./30, 37 + 1./15, 0, 2000000, 500000, 6561666.667, 1640416.667},
	{26944, 2228, "California zone 4", -119, 35 + 1./3, 37.25, 36, 0, 2000000, 500000, 6561666.667, 1640416.667},
	{26945, 2229, "California zone 5", -118, 33.5, 35 + 7./15, 34 + 1./30, 0, 2000000, 500000, 6561666.667, 1640416.667},
	{26946, 2230, "California zone 6", -116.25, 32 + 1./6, 33 + 53./60, 32 + 47./60, 0, 2000000, 500000, 6561666.667, 1640416.667},
}
