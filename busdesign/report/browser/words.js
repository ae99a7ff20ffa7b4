// Frames in words: for the card under the pointer, for the line below the rows, for the table of a window.

// One frame in words: [heading, lines].
function frameText(frames, index) {
  const row = frames.rows[frames.rowOf(index)];
  const duration = frames.end(index) - frames.start(index);
  const waited = frames.columns.waited[index];
  const lines = [
    `from ${momentText(frames.start(index), 1000)} to ${momentText(frames.end(index), 1000)}, ${lengthText(duration)}`,
    `${frames.bits(index)} bits with intermission`,
    waited ? `waited ${lengthText(waited)}${aheadText(frames, index)}` : "did not wait",
    `response ${lengthText(frames.columns.response[index])}${limitsText(row)}`,
    losersText(frames, index),
  ];
  return [`${row.name}  ${row.id}  from ${row.sender}`, lines];
}

function limitsText(row) {
  const bound = row.bound === null ? "no bound" : `bound ${lengthText(row.bound)}`;
  return ` (${bound}, deadline ${lengthText(row.deadline)})`;
}

function aheadText(frames, index) {
  const { running, winners } = frames.ahead(index);
  const said = [];
  if (running !== null) said.push(`while ${nameOf(frames, running)} was on the wire`);
  if (winners.length) said.push(`behind ${listed(winners.map((winner) => nameOf(frames, winner)))}`);
  return said.length ? `, ${said.join(", then ")}` : "";
}

function losersText(frames, index) {
  const losers = frames.losers(index);
  const unseen = frames.columns.waiting[index] - losers.length;
  const names = losers.map((loser) => nameOf(frames, loser));
  if (unseen > 0) names.push(`${unseen} that were never sent`);
  return names.length ? `waiting too: ${listed(names)}` : "nobody else was waiting";
}

function nameOf(frames, index) {
  return frames.rows[frames.rowOf(index)].name;
}

function listed(names, most = 8) {
  const more = names.length > most ? ` and ${names.length - most} more` : "";
  return names.slice(0, most).join(", ") + more;
}

function frameCells(frames, index) {
  const row = frames.rows[frames.rowOf(index)];
  return [
    row.name,
    row.id,
    row.sender,
    (frames.start(index) / 1e9).toFixed(6),
    (frames.end(index) / 1e9).toFixed(6),
    frames.bits(index),
    (frames.columns.waited[index] / 1e6).toFixed(3),
    (frames.columns.response[index] / 1e6).toFixed(3),
    listed(frames.losers(index).map((loser) => nameOf(frames, loser))),
  ];
}

function tableOf(heads, rows) {
  const table = document.createElement("table");
  const line = (cells, tag) => {
    const row = document.createElement("tr");
    for (const cell of cells) {
      const made = document.createElement(tag);
      made.textContent = cell;
      row.append(made);
    }
    return row;
  };
  table.append(line(heads, "th"), ...rows.map((cells) => line(cells, "td")));
  return table;
}

function fill(card, [heading, lines]) {
  const head = document.createElement("strong");
  head.textContent = heading;
  const rest = lines.map((line) => {
    const made = document.createElement("div");
    made.textContent = line;
    return made;
  });
  card.replaceChildren(head, ...rest);
}
