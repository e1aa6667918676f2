// A request of the service as code: a shell command, the Python client, JavaScript. Knows no document.

const shellQuoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;

/** The code in each language; `token` says that the service asks for one. */
export const SNIPPETS = {
  curl: (origin, request, token) => [
    `curl -s ${origin}/v1/paths`, ...(token ? ["-H 'Authorization: Bearer TOKEN'"] : []),
    "-H 'Content-Type: application/json'", `-d ${shellQuoted(JSON.stringify(request))}`,
  ].join(" "),
  Python(origin, { chart, ...more }, token) {
    const service = JSON.stringify(origin) + (token ? ', token="TOKEN"' : "");
    const rest = Object.entries(more).map(([name, value]) => `, ${name}=${pythonLiteral(value)}`).join("");
    return `from shortway_client import Client\n\nwith Client(${service}) as shortway:\n    path = shortway.find_path(${pythonLiteral(chart)}${rest})\n    print(path.cost, path.motion)\n`;
  },
  JavaScript(origin, request, token) {
    const headers = { "Content-Type": "application/json", ...(token ? { Authorization: "Bearer TOKEN" } : {}) };
    return `const answer = await fetch("${origin}/v1/paths", {\n  method: "POST",\n  headers: ${JSON.stringify(headers)},\n  body: JSON.stringify(${JSON.stringify(request)}),\n});\nconst path = await answer.json();\nconsole.log(path.cost, path.motion);\n`;
  },
};

function pythonLiteral(value) {
  if (value === true) return "True";
  if (value === false) return "False";
  if (value === null) return "None";
  if (Array.isArray(value)) return `[${value.map(pythonLiteral).join(", ")}]`;
  if (typeof value === "object") return `{${Object.entries(value).map(([name, part]) => `${JSON.stringify(name)}: ${pythonLiteral(part)}`).join(", ")}}`;
  return JSON.stringify(value);
}
