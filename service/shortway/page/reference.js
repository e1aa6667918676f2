// The API reference: the service's OpenAPI document as plain headings, tables and examples.

const make = (name, text = "", more = {}) => Object.assign(document.createElement(name), { textContent: text }, more);
const last = (reference) => reference.split("/").pop();

function kind(schema = {}) {
  if (schema.$ref) return [link(last(schema.$ref))];
  if (schema.type === "array") return ["list of ", ...kind(schema.items)];
  const choices = schema.oneOf ?? schema.anyOf;
  if (choices) return choices.flatMap((choice, i) => [...(i ? [" or "] : []), ...kind(choice)]);
  const type = Array.isArray(schema.type) ? schema.type.join(" or ") : schema.type ?? "any value";
  return [schema.enum ? `${type}: ${schema.enum.map(String).join(", ")}` : type];
}

const link = (name) => make("a", name, { href: `#schema-${name}` });

function fields(schema) {
  const table = make("table");
  const head = table.createTHead().insertRow();
  for (const title of ["Field", "Type", "Description"]) head.append(make("th", title, { scope: "col" }));
  const body = table.createTBody();
  for (const [name, field] of Object.entries(schema.properties ?? {})) {
    const row = body.insertRow();
    row.append(make("th", name + (schema.required?.includes(name) ? " (required)" : ""), { scope: "row" }));
    row.insertCell().append(...kind(field));
    const shown = (field.examples ?? []).map((example) => JSON.stringify(example)).join(" or ");
    row.insertCell().textContent = (field.description ?? "") + (shown ? ` Example: ${shown}` : "");
  }
  const scroll = make("div", "", { className: "scroll", tabIndex: 0 });
  scroll.setAttribute("role", "region");
  scroll.append(table);
  return scroll;
}

function examples(media, what) {
  const found = [];
  for (const [type, { schema, examples: shown = {}, example }] of Object.entries(media ?? {})) {
    const line = make("p", `${what} (${type}): `);
    line.append(...kind(schema));
    found.push(line);
    const all = example === undefined ? Object.entries(shown) : [["example", { value: example }]];
    for (const [name, { summary, value }] of all) {
      const detail = make("details");
      const text = typeof value === "string" ? value : JSON.stringify(value, null, 1);
      detail.append(make("summary", `${what}: ${summary ?? name}`), make("pre", text, { tabIndex: 0 }));
      found.push(detail);
    }
  }
  return found;
}

function operation(path, method, call, document_) {
  const section = make("section", "", { id: call.operationId });
  section.append(make("h2", `${method.toUpperCase()} ${path}`), make("p", call.summary ?? ""), make("p", call.description ?? ""));
  for (const parameter of call.parameters ?? []) {
    const named = parameter.$ref ? document_.components.parameters[last(parameter.$ref)] : parameter;
    section.append(make("p", `${named.name} (in the ${named.in}): ${named.description ?? ""}`));
  }
  section.append(...examples(call.requestBody?.content, "Request"));
  for (const [status, given] of Object.entries(call.responses)) {
    const answer = given.$ref ? document_.components.responses[last(given.$ref)] : given;
    section.append(make("h3", `${status} ${answer.description ?? ""}`), ...examples(answer.content, "Answer"));
  }
  return section;
}

function shown(document_) {
  const contents = make("ul");
  const calls = [];
  for (const [path, methods] of Object.entries(document_.paths)) {
    for (const [method, call] of Object.entries(methods)) {
      if (!call.operationId) continue;
      const item = contents.appendChild(make("li"));
      item.append(make("a", `${method.toUpperCase()} ${path}`, { href: `#${call.operationId}` }), `: ${call.summary ?? ""}`);
      calls.push(operation(path, method, call, document_));
    }
  }
  const schemas = Object.entries(document_.components.schemas).map(([name, schema]) => {
    const section = make("section", "", { id: `schema-${name}` });
    const table = schema.properties ? fields(schema) : make("p");
    if (schema.properties) table.setAttribute("aria-label", `Fields of ${name}`);
    else table.append(...kind(schema));
    section.append(make("h2", name), make("p", schema.description ?? ""), table);
    return section;
  });
  document.getElementById("contents").append(contents);
  document.getElementById("calls").replaceChildren(make("p", document_.info.description ?? "", { id: "about" }), ...calls, ...schemas);
  if (location.hash) document.getElementById(location.hash.slice(1))?.scrollIntoView();
}

try {
  shown(await (await fetch("/openapi.json")).json());
} catch (error) {
  document.getElementById("status").textContent = `The document cannot be read: ${error.message}`;
}
