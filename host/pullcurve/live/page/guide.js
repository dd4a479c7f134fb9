// The card of the guided sweep: what to do next, and a few questions. What a person is typing stays
// as it is while the card around it changes.
const READ_MS = 500;  // a tap so soon after a card has come was meant for the card before

export class Guide {
  constructor(section, back, send, finished) {
    this.section = section;
    this.back = back;
    this.send = send;
    this.finished = finished;
    this.card = { step: "", trouble: "", questions: [] };
    this.cameAt = -Infinity;
    this.away = false;
    this.chosen = null;
    this.part("away").addEventListener("click", () => this.put(true));
    back.addEventListener("click", () => this.put(false));
  }

  part(name) {
    return document.getElementById(`guide-${name}`);
  }

  put(away) {
    this.away = this.chosen = away;
    this.section.hidden = away;
    this.back.hidden = !away;
    (away ? this.back : this.part("away")).focus();
  }

  // Put away, unless somebody has chosen already.
  leave() {
    this.away = this.chosen ?? true;
  }

  show(card) {
    const before = this.card;
    this.card = card;
    this.section.hidden = this.away;
    this.back.hidden = !this.away;
    this.section.classList.toggle("urgent", card.urgent);
    // It says with more care what an alarm of the same trouble says.
    const mending = card.step.startsWith("mend") && !this.away;
    document.body.classList.toggle("mending", mending);
    this.write("title", card.title);
    this.write("do", card.do);
    this.write("why", card.why);
    this.write("caution", card.caution && `Caution. ${card.caution}`);
    const marks = "■".repeat(card.holds) + "□".repeat(Math.max(card.wanted - card.holds, 0));
    const of = card.holds < card.wanted ? ` of ${card.wanted}` : "";
    this.write("progress", `${marks} ${card.holds}${of} speeds held`);
    const buttons = card.buttons.map(([name, label]) => ({ name, label }));
    this.keep(this.part("buttons"), buttons, (button) => this.button(button));
    this.keep(this.part("questions"), card.questions, (question) => this.question(question));
    for (const form of this.part("questions").children) this.settle(form);
    if (card.step !== before.step || card.trouble !== before.trouble) this.cameAt = performance.now();
    if (card.step !== before.step && card.step.startsWith("done") && card.holds) this.finished(false);
  }

  // What has been typed stays with the hold that it was typed for; an empty form is about the newest.
  settle(form) {
    const { name } = form.dataset;
    const question = this.card.questions.find((each) => each.name === name);
    if (!question || [...form.querySelectorAll("input")].some(({ value }) => value)) return;
    form.dataset.hold = question.hold;
    const head = form.querySelector("h3");
    if (head.textContent !== question.label) head.textContent = question.label;
  }

  write(name, text) {
    const element = this.part(name);
    if (element.textContent !== text) element.textContent = text;
    element.hidden = !text;
  }

  // What is wanted stays or comes, all else goes.
  keep(box, wanted, make) {
    const names = wanted.map(({ name }) => name);
    for (const old of [...box.children]) if (!names.includes(old.dataset.name)) old.remove();
    const there = new Set([...box.children].map((child) => child.dataset.name));
    for (const each of wanted) {
      if (there.has(each.name)) continue;
      const element = make(each);
      element.dataset.name = each.name;
      box.append(element);
    }
    if (names.some((name, place) => box.children[place].dataset.name !== name)) {
      box.append(...names.map((name) => [...box.children].find((child) => child.dataset.name === name)));
    }
  }

  button({ name, label }) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = label;
    button.addEventListener("click", () => {
      const { step, trouble } = this.card;
      if (name === "report") this.finished(true);
      else if (performance.now() - this.cameAt > READ_MS) this.tell("/press", { button: name, step, trouble });
    });
    return button;
  }

  question({ name, fields, buttons, caution }) {
    const form = document.createElement("form");
    form.append(document.createElement("h3"));
    if (caution) {
      const words = document.createElement("p");
      words.textContent = caution;
      form.append(words);
    }
    const inputs = pair(), answers = pair();
    for (const [field, words, options] of fields) inputs.append(input(name, field, words, options));
    for (const [button, words] of buttons) {
      const element = document.createElement("button");
      element.textContent = words;
      element.value = button;
      answers.append(element);
    }
    form.append(inputs, answers);
    form.addEventListener("input", () => this.settle(form));
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const said = Object.fromEntries(new FormData(form));
      const button = event.submitter?.value ?? buttons[0][0];
      const { hold } = form.dataset;
      if (!await this.tell("/answer", { question: name, button, fields: said, hold })) return;
      for (const input of form.querySelectorAll("input")) input.value = "";
      this.settle(form);
    });
    return form;
  }

  async tell(path, said) {
    const { ok, sentence } = await this.send(path, said);
    this.write("answer", sentence ?? "");
    return ok;
  }
}

function pair() {
  const box = document.createElement("div");
  box.className = "pair";
  return box;
}

function input(question, name, words, options) {
  const id = `${question}-${name}`;
  const box = document.createElement("div");
  const label = document.createElement("label");
  label.htmlFor = id;
  label.textContent = words;
  const element = document.createElement(options.length ? "select" : "input");
  element.id = id;
  element.name = name;
  for (const option of options) element.append(new Option(option, option));
  if (!options.length) {
    element.inputMode = "decimal";
    element.autocomplete = "off";
    element.maxLength = 20;
  }
  box.append(label, element);
  return box;
}
