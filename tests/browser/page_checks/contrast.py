"""Contrast of the texts on a page, measured in the browser."""

from __future__ import annotations

#: Lowest ratio of contrast to what is asked (4.5; 3 from 24 px, or bold from 18.67 px)
#: over all text that is seen, pictures left out: they have colours of their own.
CONTRAST = """() => {
  const channels = (text) => (text.match(/[0-9.]+/g) || []).map(Number);
  const light = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map((c) => c / 255).map(
      (c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const ground = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const c = channels(getComputedStyle(e).backgroundColor);
      if (c.length === 3 || c[3] === 1) return c;
      if (c[3] > 0) throw new Error("a ground that is seen through");
    }
    return [255, 255, 255];
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let least = [Infinity, ""], count = 0;
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    const words = walker.currentNode.textContent.trim();
    if (!words || element.closest("svg, script, style, .spoken")) continue;
    if (!element.checkVisibility({visibilityProperty: true})) continue;
    const style = getComputedStyle(element);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.67 && Number(style.fontWeight) >= 700);
    const a = light(channels(style.color)), b = light(ground(element));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const share = ratio / (large ? 3 : 4.5);
    count += 1;
    if (share < least[0]) least = [share, `${ratio}: ${words}`];
  }
  return [...least, count];
}"""
