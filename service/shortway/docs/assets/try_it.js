// "Try it": sends the call of a page of the reference as it stands in the form. Knows no call.

const MOST = 200_000; // characters shown of an answer

const at = (id) => document.getElementById(id);

function fill(template) {
  at("try-query").value = template.dataset.query;
  if (at("try-kind")) at("try-kind").value = template.dataset.kind;
  if (at("try-body")) at("try-body").value = template.content.textContent;
  if (at("try-accept")) at("try-accept").value = template.dataset.accept || at("try-accept").options[0].value;
}

function request(form) {
  const headers = {};
  if (at("try-kind")) headers["Content-Type"] = at("try-kind").value;
  if (at("try-accept")) headers.Accept = at("try-accept").value;
  if (at("try-token").value) headers.Authorization = `Bearer ${at("try-token").value}`;
  const query = at("try-query").value.trim().replace(/^\?/, "");
  const options = { method: form.dataset.method, headers };
  if (at("try-body")) options.body = at("try-body").value;
  return [form.dataset.path + (query ? `?${query}` : ""), options];
}

const isText = (kind) => /^text\/|json|[+/]xml/.test(kind);

function shown(text, kind) {
  if (!/[+/]json$/.test(kind)) return text;
  try {
    return JSON.stringify(JSON.parse(text), null, 2);
  } catch {
    return text;
  }
}

async function show(response, milliseconds) {
  const kind = (response.headers.get("Content-Type") ?? "").split(";")[0];
  const blob = await response.blob();
  const limit = response.headers.get("RateLimit");
  at("try-status").textContent = `${response.status}, ${kind}, ${blob.size.toLocaleString("en")} bytes in ${milliseconds} ms${limit ? `; rate limit ${limit}` : ""}`;
  const text = isText(kind) ? shown(await blob.text(), kind) : "";
  const answer = at("try-answer");
  answer.firstElementChild.textContent = text.length > MOST ? `${text.slice(0, MOST)}\n…` : text;
  answer.hidden = !text;
  const file = /filename="([^"]+)"/.exec(response.headers.get("Content-Disposition") ?? "");
  const save = at("try-save");
  URL.revokeObjectURL(save.href);
  save.hidden = !file;
  if (file) Object.assign(save, { href: URL.createObjectURL(blob), download: file[1], textContent: `Save ${file[1]}` });
}

async function send(form) {
  const status = at("try-status");
  status.textContent = "Sending…";
  form.setAttribute("aria-busy", "true");
  const started = performance.now();
  try {
    const response = await fetch(...request(form));
    await show(response, Math.round(performance.now() - started));
  } catch (error) {
    status.textContent = `No response: ${error.message}`;
  } finally {
    form.removeAttribute("aria-busy");
  }
}

export function startTryIt() {
  const form = at("try");
  if (!form) return;
  const templates = form.querySelectorAll("template");
  form.hidden = false;
  at("try-example")?.addEventListener("change", ({ target }) => fill(templates[target.value]));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(form);
  });
  fill(templates[0]);
}
