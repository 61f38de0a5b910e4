// Texts whose color is too close to what lies behind them, all panes open.
() => {
  const part = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const light = ([r, g, b]) => 0.2126 * part(r / 255) + 0.7152 * part(g / 255) + 0.0722 * part(b / 255);
  const numbers = (text) => text.match(/[\d.]+/g).map(Number);
  const behind = (element) => {
    for (; element; element = element.parentElement) {
      const color = numbers(getComputedStyle(element).backgroundColor);
      if (color.length < 4 || color[3] > 0.5) return color.slice(0, 3);
    }
    return [255, 255, 255];
  };
  const poor = [];
  document.querySelectorAll("[role=tabpanel]").forEach((pane) => (pane.hidden = false));
  for (const element of document.querySelectorAll("body *")) {
    const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!own || element.closest(":disabled") || !element.offsetParent) continue;
    const front = light(numbers(getComputedStyle(element).color).slice(0, 3)), back = light(behind(element));
    const ratio = (Math.max(front, back) + 0.05) / (Math.min(front, back) + 0.05);
    if (ratio < 4.5) poor.push(`${element.className || element.tagName}: ${element.textContent.trim()} ${ratio}`);
  }
  return poor;
}
