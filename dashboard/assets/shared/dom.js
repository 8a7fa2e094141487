/* Elements of a page: found, made, filled.  Everything is put in as text, never as markup. */

/**
 * The element of this id.  Throws an Error where the page has none of this kind.
 * @template {HTMLElement} [T=HTMLElement]
 * @param {string} name
 * @param {new () => T} [kind] the element's class, where more than HTMLElement is needed
 * @returns {T}
 */
export function id(name, kind) {
  const node = document.getElementById(name);
  if (!(node instanceof (kind ?? HTMLElement))) throw new Error(`the page has no ${name}`);
  return /** @type {T} */ (node);
}

/**
 * The first element within `place` that the selector names.  Throws an Error where there is none.
 * @template {HTMLElement} [T=HTMLElement]
 * @param {ParentNode} place
 * @param {string} selector
 * @param {new () => T} [kind]
 * @returns {T}
 */
export function within(place, selector, kind) {
  const node = place.querySelector(selector);
  if (!(node instanceof (kind ?? HTMLElement))) throw new Error(`the page has no ${selector}`);
  return /** @type {T} */ (node);
}

/**
 * The element inside `place` at this index.
 * @param {Element} place
 * @param {number} index
 */
export function inner(place, index) {
  return /** @type {HTMLElement} */ (place.children[index]);
}

/**
 * Set a text where it differs, so that nothing is drawn again in vain.
 * @param {string | Element} where an element or its id
 * @param {string} value
 */
export function text(where, value) {
  const node = typeof where === "string" ? id(where) : where;
  if (node.textContent !== value) node.textContent = value;
}

/**
 * A new element.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {string} [content] its text
 * @param {string} [name] its class
 */
export function make(tag, content = "", name = "") {
  const node = document.createElement(tag);
  if (content) node.textContent = content;
  if (name) node.className = name;
  return node;
}

/**
 * A new button that is no part of a form.
 * @param {string} content
 * @param {() => void} then what a touch does
 * @param {string} [name] its id
 */
export function button(content, then, name = "") {
  const node = make("button", content);
  node.type = "button";
  if (name) node.id = name;
  node.addEventListener("click", then);
  return node;
}

/**
 * Show a number in big digits with its unit in small ones, or a word where there is no number.
 * @param {string} where id of the element
 * @param {[string, string] | null} pair number and unit
 * @param {string} word
 */
export function digits(where, pair, word) {
  const node = id(where);
  if (!node.firstChild) node.append(make("span", "", "n"), make("span", "", "u"));
  text(inner(node, 0), pair ? pair[0] : word);
  text(inner(node, 1), pair ? pair[1] : "");
  node.classList.toggle("word", !pair);
}

/**
 * Show texts as the items of a list.
 * @param {string} where id of the list
 * @param {string[]} texts
 */
export function list(where, texts) {
  rows(id(where), texts, () => make("li"), text);
}

/**
 * Keep one element for each value inside `place`, and fill it.
 * @template V
 * @param {HTMLElement} place
 * @param {V[]} values
 * @param {() => HTMLElement} create a new, empty element
 * @param {(row: HTMLElement, value: V) => void} fill
 */
export function rows(place, values, create, fill) {
  while (place.children.length > values.length) place.lastChild?.remove();
  values.forEach((value, k) => {
    if (!place.children[k]) place.append(create());
    fill(inner(place, k), value);
  });
}

/**
 * Rows as a table; the first cell heads its row.
 * @param {string[]} head names of the columns
 * @param {(string | Node)[][]} lines
 * @param {string} name class of the table
 */
export function tableOf(head, lines, name) {
  const made = make("table", "", name);
  const top = make("thead");
  const titles = make("tr");
  for (const title of head) {
    const cell = make("th", title);
    cell.scope = "col";
    titles.append(cell);
  }
  top.append(titles);
  const body = make("tbody");
  for (const line of lines) {
    const row = make("tr");
    line.forEach((content, k) => {
      const cell = make(k ? "td" : "th");
      if (!k) cell.scope = "row";
      cell.dataset.h = head[k] || "";
      cell.append(content);
      if (content === "–" || content === "") cell.classList.add("none");
      row.append(cell);
    });
    body.append(row);
  }
  made.append(top, body);
  return made;
}
