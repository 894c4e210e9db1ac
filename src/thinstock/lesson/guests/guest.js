// A guest's phone: the code, the question, one guess. Everything that comes is set as text, never as markup.

const $ = (id) => document.getElementById(id);
let round = null;

async function send(path, body) {
  try {
    const reply = await fetch(path, body && { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } });
    return { ok: reply.ok, ...(await reply.json()) };
  } catch { return { ok: false, refused: "The class does not answer." }; }
}

function show(now) {
  $("join").hidden = now.joined !== false;
  $("wait").hidden = !now.joined || now.question !== null;
  $("ask").hidden = !now.joined || now.question === null;
  if (!now.joined || now.question === null) return;
  $("question").textContent = now.question;
  $("unit").textContent = now.unit;
  $("typed").hidden = now.choices.length > 0;
  $("choices").hidden = now.choices.length === 0;
  $("groups").hidden = !now.groups;
  $("send").hidden = !now.open;
  $("guess").disabled = !now.open;
  $("mine").textContent = now.mine === null ? "" : now.choices.length ? `You chose: ${now.choices[now.mine - 1]}` : `You guessed: ${now.mine}`;
  if (round !== now.round) {
    round = now.round;
    $("guess").value = "";
    $("told").textContent = "";
    const rows = now.choices.map((text, i) => {
      const label = document.createElement("label"), box = document.createElement("input");
      box.type = "radio"; box.name = "choice"; box.value = `${i + 1}`;
      label.append(box, text);
      return label;
    });
    $("choices").replaceChildren($("choices").querySelector("legend"), ...rows);
  }
  if (!now.open) $("told").textContent = "The answer is on the wall.";
}

async function look() {
  const now = await send("/now");
  if (now.refused) $("told").textContent = now.refused; else show(now);
}

$("join").addEventListener("submit", async (event) => {
  event.preventDefault();
  const found = await send("/join", { code: $("code").value.replace(/\D/g, "") });
  $("told").textContent = found.refused ?? "";
  look();
});
$("ask").addEventListener("submit", async (event) => {
  event.preventDefault();
  const chosen = document.querySelector("[name=choice]:checked");
  const found = await send("/guess", { guess: $("typed").hidden ? chosen?.value ?? "" : $("guess").value, group: $("group").value });
  $("told").textContent = found.refused ?? (found.group ? "It has arrived." : "It has arrived, without the word.");
  look();
});
if (/^#\d{6}$/.test(location.hash)) { $("code").value = location.hash.slice(1); history.replaceState(null, "", "/"); }
look();
setInterval(look, 2000);
