// Calls of the service, and the errors that they end in. The token is kept here alone, for as long as the page is open.

let token = "";
export const setToken = (text) => { token = text.trim(); };
export const hasToken = () => token !== "";

/** The answer as JSON, or as a blob where another type is accepted; `signal` gives the call up. */
export async function callApi(path, body, { accept = "application/json", signal } = {}) {
  const answer = await fetch(path, {
    method: body === undefined ? "GET" : "POST",
    signal,
    headers: {
      Accept: accept,
      ...(body === undefined ? {} : { "Content-Type": "application/json" }),
      ...(token ? { Authorization: `Bearer ${token}` } : {}),
    },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  if (!answer.ok) throw await problemError(answer);
  return accept === "application/json" ? answer.json() : answer.blob();
}

// The problem details of a rejected request.
async function problemError(answer) {
  const problem = await answer.json().catch(() => ({}));
  const detail = problem.detail ?? `The service responded with status ${answer.status}.`;
  const wait = answer.headers.get("Retry-After");
  const words = wait ? `${detail}; retry in ${wait} seconds` : detail;
  return requestError(words, problem.errors, { status: answer.status, code: problem.code });
}

/** An error with `problem`: detail, errors (pointer, detail, position, expected), status (0 where the service was not reached), code. */
export function requestError(detail, errors = [], { status = null, code = "" } = {}) {
  return Object.assign(new Error(detail), { problem: { detail, errors, status, code } });
}

/** The problem of whatever was thrown by a call. */
export const problemOf = (error) => error.problem ?? { detail: `Cannot reach the service: ${error.message}`, errors: [], status: 0, code: "" };

const failed = new Map(); // lists that could not be loaded, by what they fill

/** Fills something with a list of the service, now or once the service is reached or a token given. */
export async function loadList(path, fill) {
  failed.delete(fill);
  const list = await callApi(path).catch(() => { failed.set(fill, path); });
  if (list) fill(list);
}

export const retryLists = () => [...failed].forEach(([fill, path]) => loadList(path, fill));
