// The program starts when the browser is done with loading: until then it turns a wheel in its tab, and where the
// processor draws in place of a graphics card, every step of that wheel keeps the roof waiting.
addEventListener("load", () => setTimeout(() => import("./all.js"), 30));
