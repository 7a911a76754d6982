// Asking the page's server. The token comes in the fragment of the address, which browsers never send, and is kept for
// this tab alone.

const given = location.hash.slice(1);
if (given) {
  sessionStorage.setItem("token", given);
  history.replaceState(null, "", location.pathname);
}
export const token = given || sessionStorage.getItem("token") || "";

export async function ask(path, values = {}, body = undefined) {
  const query = new URLSearchParams(values).toString();
  const answer = await fetch(query ? `${path}?${query}` : path, {
    method: body === undefined ? "GET" : "POST",
    headers: { Authorization: `Bearer ${token}`, ...(body === undefined ? {} : { "Content-Type": "application/json" }) },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  const said = await answer.json();
  if (!answer.ok) {
    const error = new Error([said.error.what, said.error.found && `found ${said.error.found}`,
      said.error.expected && `expected ${said.error.expected}`, said.error.mend].filter(Boolean).join("; "));
    error.status = answer.status;
    throw error;
  }
  return said;
}

// Told each time the run has come further. Connects again after a while when the server was away.
export function watch(told, lost) {
  const socket = new WebSocket(`ws://${location.host}/api/live`);
  socket.onopen = () => socket.send(JSON.stringify({ token }));
  socket.onmessage = (event) => told(JSON.parse(event.data));
  socket.onclose = () => {
    lost();
    setTimeout(() => watch(told, lost), 2000);
  };
}
