// The program starts when the browser is done with loading: until then it turns a wheel in its tab, and where the
// processor draws in place of a graphics card, every step of that wheel keeps the roof waiting.
addEventListener("load", () => setTimeout(() => import("./all.js").catch(tell), 30));

function tell(error) {
  const notice = document.getElementById("notice");
  notice.textContent = "The page cannot reach its program. Start it again in the terminal and open the new link.";
  notice.hidden = false;
  console.error(error);
}
