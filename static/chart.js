// Draws each control chart from the figure its page names. The tables beside it hold the same numbers.

const CONFIGURATION = { displayModeBar: false, responsive: true, plotlyServerURL: "" };

/** @param {HTMLElement} place an element whose data-figure is the address of a figure */
async function draw(place) {
  const answer = await fetch(place.dataset.figure, { headers: { Accept: "application/json" } });
  if (!answer.ok) {
    throw new Error(`the figure could not be fetched: ${answer.status}`);
  }
  const { data, layout } = await answer.json();
  place.replaceChildren();
  await Plotly.newPlot(place, data, layout, CONFIGURATION);
  place.dataset.drawn = "yes";
}

for (const place of document.querySelectorAll("[data-figure]")) {
  draw(place).catch(() => {
    place.textContent = place.dataset.failed ?? "The drawing could not be made; the tables hold the same numbers.";
  });
}
