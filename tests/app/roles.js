() => {
  // What a screen reader stumbles over: rules of WAI-ARIA 1.2 and WCAG 2.2 (1.3.1, 2.4.3, 2.5.8, 4.1.2), from memory.
  const found = [], say = (rule, e) => found.push(`${rule}: ${e.outerHTML.slice(0, 110)}`);
  const shown = (e) => e.checkVisibility({ visibilityProperty: true });
  const ids = [...document.querySelectorAll("[id]")].map((e) => e.id);
  for (const id of ids.filter((id, i) => ids.indexOf(id) !== i)) found.push(`id twice: ${id}`);
  const named = (e) => e.getAttribute("aria-label") || e.getAttribute("aria-labelledby") || [...(e.labels ?? [])].map((l) => l.textContent).join("") || e.textContent.trim() || e.title;
  const bare = new Set(["DIV", "SPAN", "P", "B", "I", "CODE", "LI", "TD"]);
  for (const e of document.body.querySelectorAll("*")) {
    for (const name of ["aria-controls", "aria-labelledby", "aria-describedby"]) {
      for (const id of (e.getAttribute(name) ?? "").split(" ").filter(Boolean)) if (!document.getElementById(id)) say(`${name} leads nowhere`, e);
    }
    if (e.hasAttribute("aria-label") && bare.has(e.tagName) && !e.hasAttribute("role")) say("a name without a role is not read", e);
    if (e.tabIndex > 0) say("tabindex above 0 changes the order", e);
    if (!shown(e)) continue;
    const active = e.matches("button, select, input, a[href], canvas, summary, [role=tab]");
    if (active && !named(e)) say("no name", e);
    if (active && e.parentElement.closest("button, a[href], summary")) say("a control in a control", e);
    if (e.matches("tr[aria-selected]") && !e.closest("[role=grid]")) say("selected without a grid", e);
    if (e.matches("[role=toolbar]")) say("a toolbar needs arrow keys; say group", e);
    if (e.matches("table") && !e.querySelector("thead th[scope=col]")) say("a table without heads", e);
    if (e.matches("section") && !e.hasAttribute("aria-label") && !e.querySelector("h2, h3")) say("a section without a name", e);
    const box = e.getBoundingClientRect();
    if (e.matches("button, select, input:not([type=checkbox])") && !e.closest("p, .math") && (box.height < 24 || box.width < 24)) say(`smaller than 24 pixels (${box.width.toFixed()} x ${box.height.toFixed()})`, e);
  }
  const heads = [...document.querySelectorAll("h1, h2, h3, h4")].filter(shown).map((e) => Number(e.tagName[1]));
  heads.forEach((level, i) => i && level > heads[i - 1] + 1 && found.push(`heads jump from h${heads[i - 1]} to h${level}`));
  if (document.querySelectorAll("h1").length !== 1) found.push("not one h1");
  if (!document.querySelector("#live[aria-live=polite]")) found.push("nothing tells what changed");
  if (!document.documentElement.lang) found.push("no language");
  return [...new Set(found)];
}
