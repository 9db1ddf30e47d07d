// The corners of a skyline: pairs of azimuth (clockwise from true north) and elevation, by rising azimuth.
export const LOWEST = -5, HIGHEST = 90, MOST = 180;
const SAME_DEG = 0.05;

export const turned = (azimuth) => ((azimuth % 360) + 360) % 360;
const tidy = (degrees) => Math.round(degrees * 10) / 10;

/** Corners in order; a corner at an azimuth there is already takes its place. */
export function withCorner(corners, azimuth, elevation) {
  const at = tidy(turned(azimuth)) % 360;
  const up = tidy(Math.min(Math.max(elevation, LOWEST), HIGHEST));
  return [...corners.filter(([other]) => Math.abs(other - at) > SAME_DEG), [at, up]].sort((one, other) => one[0] - other[0]);
}

/** Elevation of the skyline at an azimuth: straight between corners, joined across north. */
export function elevationAt(corners, azimuth) {
  if (!corners.length) return 0;
  if (corners.length === 1) return corners[0][1];
  const at = turned(azimuth);
  const next = corners.find(([other]) => other >= at) ?? [corners[0][0] + 360, corners[0][1]];
  const last = corners.findLast(([other]) => other < at) ?? [corners.at(-1)[0] - 360, corners.at(-1)[1]];
  const part = (at - last[0]) / (next[0] - last[0]);
  return last[1] + part * (next[1] - last[1]);
}

/**
 * Where the long edge of a phone points, by the angles of the W3C Device Orientation events (rotations about z,
 * then x', then y''): the image of its own y axis.  A compass of its own (`webkitCompassHeading`, clockwise
 * from north) goes before alpha, which some phones count from wherever they were switched on.
 * `north` tells whether the azimuth has a north at all.
 */
export function pointing({ alpha, beta, absolute, webkitCompassHeading }) {
  if (beta === null || beta === undefined) return null;
  const rad = Math.PI / 180;
  const elevation = Math.asin(Math.sin(beta * rad)) / rad;
  const over = Math.cos(beta * rad) < 0 ? 180 : 0; // tipped past the zenith, the edge looks back
  if (Number.isFinite(webkitCompassHeading)) return { azimuth: turned(webkitCompassHeading + over), elevation, north: true };
  if (!Number.isFinite(alpha)) return { azimuth: null, elevation, north: false };
  return { azimuth: turned(360 - alpha + over), elevation, north: Boolean(absolute) };
}
