// Draws the page, top to bottom.

drawMasthead();
drawChoiceBar();
drawGlance();
drawGrid();
drawCompare();
drawMap();
drawMarks();
drawFieldReport();
drawKeys();
prepareFrameView();
document.documentElement.classList.add('drawn');
