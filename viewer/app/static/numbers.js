// Numbers, marks and colors as in viewer/style.py and viewer/quantities.py; scales come from palette.css.

const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const rgb = (color) => [1, 3, 5].map((i) => parseInt(color.slice(i, i + 2), 16) / 255);
const scale = (name) => css(name).split(",").map((color) => rgb(color.trim()));

export const palette = {};

export function readPalette() {
  for (const name of ["ink", "muted", "faint", "hairline", "paper", "accent", "exceeded", "wall", "wall-shade"]) {
    palette[name] = rgb(css(`--${name}`));
  }
  palette.snow = scale("--snow-scale");
  palette.kept = scale("--kept-scale");
  palette.over = scale("--exceeded-scale");
}

function ramp(anchors, share) {
  const at = Math.min(Math.max(share, 0), 1) * (anchors.length - 1);
  const low = Math.min(Math.floor(at), anchors.length - 2);
  return anchors[low].map((value, i) => value + (anchors[low + 1][i] - value) * (at - low));
}

export const snowColor = (share) => ramp(palette.snow, share);

export function useColor(use) {
  if (Number.isNaN(use)) return palette.ink;
  return use > 1 ? ramp(palette.over, use - 1) : ramp(palette.kept, use);
}

export const cssColor = (color) => `rgb(${color.map((v) => Math.round(v * 255)).join(" ")})`;

// One for each number of places: to make one takes longer than to write a line of a table.
const formats = [];
const toPlaces = (places) => (formats[places] ??= new Intl.NumberFormat("en", { minimumFractionDigits: places, maximumFractionDigits: places, roundingMode: "halfEven" }));

// "100 %" only for just that, so that a reader sees the side it is on.
export function percent(use) {
  if (use === null || Number.isNaN(use)) return "not verified";
  if (!Number.isFinite(use)) return "no resistance";
  let places = 0;
  while (use !== 1 && places < 6 && Number((100 * use).toFixed(places)) === 100) places += 1;
  return `${toPlaces(places).format(100 * use)} %`;
}

export const statusOf = (use) =>
  Number.isNaN(use) ? "open" : use > 1 ? "exceeded" : use > 0 ? "kept" : "idle";
export const statusWords = { open: "not verified", exceeded: "EXCEEDED", kept: "kept", idle: "not loaded" };

// What must be looked at first: exceeded, then not verified, then by use.
export const urgency = (use) => (Number.isNaN(use) ? 1.0000001 : use > 1 ? 1 + use : use);

export function unpack(text, kind = Float32Array) {
  const raw = atob(text);
  const bytes = Uint8Array.from(raw, (c) => c.charCodeAt(0));
  return new kind(bytes.buffer);
}

// Worst over the cases of one attachment; not verified unless a known limit is exceeded anyway.
export function worstUse(use, count, index, onlyCase) {
  if (onlyCase !== null) return { use: use[onlyCase * count + index], at: onlyCase };
  let worst = 0, open = false, at = 0;
  for (let q = 0; q * count < use.length; q++) {
    const value = use[q * count + index];
    if (Number.isNaN(value)) open = true;
    else if (value > worst) [worst, at] = [value, q];
  }
  return { use: open && worst <= 1 ? NaN : worst, at };
}
