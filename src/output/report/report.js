// The page's small conveniences: counting marks, and saving them as a list for --drop @FILE.
(function () {
  'use strict';
  document.documentElement.classList.add('live');
  var form = document.getElementById('marks');
  var boxes = Array.prototype.slice.call(form.querySelectorAll('input[type=checkbox]'));
  var count = document.getElementById('count');
  var list = document.getElementById('list');
  function marked() {
    return boxes.filter(function (b) { return b.checked; });
  }
  function text() {
    var names = marked().map(function (b) { return b.value; });
    return '# shots to leave out of ' + (document.body.dataset.shoot || 'the shoot') +
      ', for --drop @FILE\n' + names.map(function (n) { return n + '\n'; }).join('');
  }
  function show() {
    var n = marked().length;
    count.textContent = n === 0 ? 'No shot marked' : n + (n === 1 ? ' shot' : ' shots') + ' marked';
    list.value = text();
  }
  form.addEventListener('change', show);
  form.addEventListener('submit', function (e) { e.preventDefault(); });
  document.getElementById('clear').addEventListener('click', function () {
    boxes.forEach(function (b) { b.checked = false; });
    show();
  });
  document.getElementById('save').addEventListener('click', function () {
    var url = URL.createObjectURL(new Blob([text()], { type: 'text/plain' }));
    var a = document.createElement('a');
    a.href = url;
    a.download = 'drop.txt';
    document.body.appendChild(a);
    a.click();
    a.remove();
    setTimeout(function () { URL.revokeObjectURL(url); }, 1000);
  });
  document.querySelectorAll('button[data-from]').forEach(function (button) {
    button.addEventListener('click', function () {
      boxes.slice(+button.dataset.from, +button.dataset.to + 1).forEach(function (b) {
        b.checked = true;
        b.closest('details').open = true;
      });
      show();
      button.textContent = 'Marked';
    });
  });
  // Folded pages lose half of themselves on paper.
  window.addEventListener('beforeprint', function () {
    document.querySelectorAll('details:not(.hour)').forEach(function (d) { d.open = true; });
  });
  show();
})();
